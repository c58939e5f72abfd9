"""Journal records decoded on the host, written by the device's own journal."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blindfield.links.records import RECORD_BYTES, UNKNOWN_KIND, decode
from blindfield.model.errors import ProtocolError
from blindfield.model.messages import EVENTS
from fieldcore import wire
from fieldcore.device import FLAG_RUNNING, FLAG_SENDS
from support.flash import Flash, mounted, records


def written(kind: int, payload: bytes, flags: int = 0) -> bytes:
    """A record as the journal writes it."""
    journal = mounted(Flash())
    assert journal.append(kind, flags, 3, 123456, 789, 0xBEEF, payload)
    return records(journal)[-1]


def test_all_places_of_a_record_are_read() -> None:
    raw = written(wire.EVENT_KNOCK, b"12345678", FLAG_SENDS)
    record = decode(raw)
    assert (record.kind, record.code, record.seq, record.clock_id) == ("knock", 4, 2, 1)
    assert (record.lap, record.ms, record.us) == (3, 123456, 789)
    assert (record.run_tag, record.payload, record.raw) == (0xBEEF, b"12345678", raw)
    assert (record.sends, record.in_run) == (True, False)
    assert decode(written(wire.EVENT_KNOCK, bytes(8), FLAG_RUNNING)).in_run


@pytest.mark.parametrize(
    ("kind", "payload", "data"),
    [
        ("strike", b"\x80\x02\x01" + bytes(5), {"strength": 128, "shape": "push", "findings": 1}),
        ("strike", b"\x01\x09" + bytes(6), {"strength": 1, "shape": "unknown (9)", "findings": 0}),
        ("dug_out", b"\x5a" + bytes(7), {"tilt_deg": 90}),
        ("knock", bytes(8), {}),
        (
            "silenced",
            b"\x02\x01\x01\x03" + bytes(4),
            {"count": 258, "latched": True, "cause": "knock"},
        ),
        ("rearmed", b"\x02\x01\x00" + bytes(5), {"count": 258, "latched": False}),
        ("started", b"\x05\xe8\x03\x00\x00" + bytes(3), {"revision": 5, "elapsed_ms": 1000}),
        ("sends", b"\x07" + bytes(7), {"cue": 7}),
        ("rests", b"\x08" + bytes(7), {"cue": 8}),
        ("ended", b"\x03" + bytes(7), {"cause": "lease"}),
        ("ended", b"\x63" + bytes(7), {"cause": "unknown (99)"}),
        ("gap", b"\x01\x01" + bytes(6), {"not_kept": 257}),
    ],
)
def test_a_payload_is_read_by_its_kind(kind: str, payload: bytes, data: dict[str, object]) -> None:
    code = [name for name, _ in EVENTS].index(kind) + 1
    record = decode(written(code, payload))
    assert (record.kind, record.data) == (kind, data)


def test_the_boot_record_of_a_new_journal_names_it() -> None:
    journal = mounted(Flash())
    record = decode(records(journal)[0])
    assert record.kind == "boot"
    assert record.data == {
        "count": 0,
        "latched": False,
        "cause": 0,
        "journal_id": journal.journal_id,
    }


@given(code=st.integers(len(EVENTS) + 1, 0xB4), payload=st.binary(min_size=8, max_size=8))
def test_a_kind_of_a_later_version_is_kept_whole(code: int, payload: bytes) -> None:
    record = decode(written(code, payload))
    assert (record.kind, record.code, record.payload) == (UNKNOWN_KIND, code, payload)
    assert record.data == {}


@given(at=st.integers(0, RECORD_BYTES - 1), bit=st.integers(0, 7))
def test_one_wrong_bit_is_noticed(at: int, bit: int) -> None:
    raw = bytearray(written(wire.EVENT_STRIKE, bytes(8)))
    raw[at] ^= 1 << bit
    with pytest.raises(ProtocolError, match="damaged"):
        decode(bytes(raw))


@pytest.mark.parametrize("size", [0, 31, 33])
def test_another_size_is_no_record(size: int) -> None:
    with pytest.raises(ProtocolError):
        decode(bytes(size))
