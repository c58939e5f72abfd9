"""RFC 4231: HMAC-SHA-256 test cases 1 to 7, the truncated one included."""

import json
from pathlib import Path

import pytest

from fieldcore.seal import Key

CASES = json.loads(Path(__file__).with_name("rfc4231.json").read_text("utf-8"))["cases"]


def test_all_seven_cases_are_here() -> None:
    assert [case["case"] for case in CASES] == [1, 2, 3, 4, 5, 6, 7]


@pytest.mark.parametrize("case", CASES, ids=lambda case: str(case["case"]))
def test_hmac_gives_the_published_tag(case: dict[str, str]) -> None:
    expected = bytes.fromhex(case["tag"])
    tag = Key(bytes.fromhex(case["key"])).tag(bytes.fromhex(case["data"]), len(expected))
    assert tag == expected
