"""Message bodies: every shape round-trips, and whatever does not fit it is refused."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blindfield.model.messages import MESSAGES, MessageSpec
from fieldcore import cbor, message, wire
from fieldcore.message import Refusal

VALUES: dict[str, st.SearchStrategy[Any]] = {
    "u8": st.integers(0, 0xFF),
    "u16": st.integers(0, 0xFFFF),
    "u30": st.integers(0, 0x3FFFFFFF),
    "u32": st.integers(0, 0xFFFFFFFF),
    "i32": st.integers(-0x80000000, 0x7FFFFFFF),
    "bool": st.booleans(),
    "bytes8": st.binary(min_size=8, max_size=8),
    "bytes12": st.binary(min_size=12, max_size=12),
    "text": st.text(st.characters(codec="utf-8"), max_size=8),
    "blob": st.binary(max_size=100),
}
ABOVE: dict[str, Any] = {
    "u8": 0x100,
    "u16": 0x10000,
    "u30": 0x40000000,
    "u32": True,
    "i32": 0x80000000,
    "bool": 1,
    "bytes8": bytes(9),
    "bytes12": bytes(11),
    "text": "x" * 33,
    "blob": "text",
}


def least(kind: str) -> Any:
    return {"bool": False, "text": "", "blob": b"", "bytes8": bytes(8), "bytes12": bytes(12)}.get(
        kind, 0
    )


@pytest.mark.parametrize("spec", MESSAGES, ids=lambda spec: spec.name)
def test_every_message_round_trips(spec: MessageSpec) -> None:
    @given(st.tuples(*(VALUES[field.kind] for field in spec.fields)))
    def holds(fields: tuple[Any, ...]) -> None:
        assert message.unpack(message.pack(spec.id, *fields)) == [spec.id, *fields]

    holds()


@pytest.mark.parametrize("spec", MESSAGES, ids=lambda spec: spec.name)
def test_each_field_has_its_limit(spec: MessageSpec) -> None:
    good = [least(field.kind) for field in spec.fields]
    for place, field in enumerate(spec.fields):
        wrong = [*good[:place], ABOVE[field.kind], *good[place + 1 :]]
        with pytest.raises(ValueError, match="field"):
            message.pack(spec.id, *wrong)
        assert refusal(cbor.dumps([spec.id, *wrong])) == wire.NO_MALFORMED


@pytest.mark.parametrize("spec", [s for s in MESSAGES if s.fields], ids=lambda spec: spec.name)
def test_a_field_too_few_is_malformed_and_one_too_many_is_a_later_minor(spec: MessageSpec) -> None:
    good = [least(field.kind) for field in spec.fields]
    assert refusal(cbor.dumps([spec.id, *good[:-1]])) == wire.NO_MALFORMED
    assert message.unpack(cbor.dumps([spec.id, *good, "later"])) == [spec.id, *good]


@pytest.mark.parametrize("foreign", [0, 15, 64, 77, 127, 128, 129, 255, 256, 1 << 31, -1])
def test_a_foreign_id_is_unknown(foreign: int) -> None:
    assert refusal(cbor.dumps([foreign])) == wire.NO_UNKNOWN
    with pytest.raises(ValueError, match="fields"):
        message.pack(foreign)


@pytest.mark.parametrize(
    "body", [b"", b"\x80", b"\x01", b"\x81\xf5", b"\x81\x41\x10", b"\x81\x10\x00"]
)
def test_what_is_no_message_is_malformed(body: bytes) -> None:
    assert refusal(body) == wire.NO_MALFORMED


@given(st.binary(max_size=60))
def test_any_bytes_are_a_message_or_refused(body: bytes) -> None:
    try:
        values = message.unpack(body)
    except Refusal as found:
        values = [found.code]
        known = values[0] in (wire.NO_MALFORMED, wire.NO_UNKNOWN)
    else:
        known = message.unpack(message.pack(*values)) == values
    assert known, values


def refusal(body: bytes) -> int:
    with pytest.raises(Refusal) as found:
        message.unpack(body)
    return found.value.code
