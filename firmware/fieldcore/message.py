"""Message bodies: CBOR arrays `[id, fields...]`, checked against the compact table."""

from fieldcore import cbor, wire
from fieldcore.compat import const

TYPE_CHECKING = const(0)
if TYPE_CHECKING:
    from typing import Any

_RANGES = {"B": 0xFF, "H": 0xFFFF, "M": 0x3FFFFFFF, "L": 0xFFFFFFFF}
_SIZES = {"8": 8, "C": 12}
_TEXT_MAX = 32


class Refusal(Exception):
    """The device says no; `code` is a NO_ constant of `wire`."""

    def __init__(self, code: int) -> None:
        self.code = code


def pack(message_id: int, *fields: object) -> bytes:
    """The body of one message. Raises ValueError when the fields do not fit its shape."""
    body: list[Any] = [message_id]
    body.extend(fields)
    _check(body)
    return cbor.dumps(body)


def unpack(body: bytes) -> "list[Any]":
    """`[id, fields...]`. Raises Refusal: NO_UNKNOWN for a foreign id, else NO_MALFORMED.

    Fields beyond the table's are those of a later minor version, and are left out.
    """
    try:
        values = cbor.loads(body)
    except ValueError:
        raise Refusal(wire.NO_MALFORMED)
    if not isinstance(values, list) or not values or not _is_int(values[0]):
        raise Refusal(wire.NO_MALFORMED)
    shape = wire.SHAPES.get(values[0])
    if shape is None:
        raise Refusal(wire.NO_UNKNOWN)
    values = values[: len(shape) + 1]
    try:
        _check(values)
    except ValueError:
        raise Refusal(wire.NO_MALFORMED)
    return values


def _check(values: "list[Any]") -> None:
    shape = wire.SHAPES[values[0]]
    if len(values) != len(shape) + 1:
        raise ValueError("fields")
    for place in range(len(shape)):
        if not _fits(shape[place], values[place + 1]):
            raise ValueError("field")


def _fits(letter: str, value: "Any") -> bool:
    if letter in _RANGES:
        return _is_int(value) and 0 <= value <= _RANGES[letter]
    if letter == "i":
        return _is_int(value) and -0x80000000 <= value <= 0x7FFFFFFF
    if letter == "?":
        return isinstance(value, bool)
    if letter == "s":
        return isinstance(value, str) and len(value.encode()) <= _TEXT_MAX
    if not isinstance(value, bytes):
        return False
    return letter == "x" or len(value) == _SIZES[letter]


def _is_int(value: "Any") -> bool:
    return isinstance(value, int) and not isinstance(value, bool)
