"""COBS: the worked example of its paper, and the lengths at which its block rule changes.

S. Cheshire and M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking
7(2), April 1999. The example is the start of an IP header; the phantom zero ends it.
"""

import pytest

from fieldcore.frame import cobs_decode, cobs_encode

PAPER = ("4500002c4c79000040064f37", "0245 01 042c4c79 01 0540064f37")
RUN_254 = bytes(range(1, 255))
RUN_255 = bytes(range(1, 256))
RULE = [
    (b"", b"\1"),
    (b"\0", b"\1\1"),
    (b"\0\0", b"\1\1\1"),
    (b"\x11\0\0\0", b"\2\x11\1\1\1"),
    (b"\x11\x22\0\x33", b"\3\x11\x22\2\x33"),
    (RUN_254[:-1], b"\xfe" + RUN_254[:-1]),
    (RUN_254, b"\xff" + RUN_254),
    (b"\0" + RUN_254, b"\1\xff" + RUN_254),
    (RUN_254 + b"\0", b"\xff" + RUN_254 + b"\1\1"),
    (RUN_255, b"\xff" + RUN_254 + b"\2\xff"),
    (RUN_254 * 2, (b"\xff" + RUN_254) * 2),
]


def test_the_example_of_the_paper() -> None:
    plain, stuffed = (bytes.fromhex(text) for text in PAPER)
    assert cobs_encode(plain) == stuffed
    assert cobs_decode(stuffed) == plain


@pytest.mark.parametrize(("plain", "stuffed"), RULE)
def test_blocks_end_as_the_rule_says(plain: bytes, stuffed: bytes) -> None:
    assert cobs_encode(plain) == stuffed
    assert cobs_decode(stuffed) == plain
