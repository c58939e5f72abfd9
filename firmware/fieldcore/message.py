"""Message bodies: CBOR arrays `[id, fields...]`, checked against the compact table."""

from fieldcore import cbor
from fieldcore.compat import const

TYPE_CHECKING = const(0)
if TYPE_CHECKING:
    from typing import Any

# made by blindfield.model.generate
_NO_UNKNOWN = const(1)
_NO_MALFORMED = const(2)
_SHAPES = (
    b"\x81BB."
    b"\x82BB8Bss8C."
    b"\x83C8."
    b"\x848."
    b"\x85."
    b"\x86BB."
    b"\x87."
    b"\x88Lx8."
    b"\x89Lx8."
    b"\x8a."
    b"\x8bBBB."
    b"\x8cHB8."
    b"\x8d8H."
    b"\x8e8BH."
    b"\x90."
    b"\x91LBMHHH?BBB?LLLLHH."
    b"\x92."
    b"\x93LBMH."
    b"\x94BHx."
    b"\x95B8H."
    b"\x96B8."
    b"\x97BBMHLH."
    b"\x98B."
    b"\x99B."
    b"\x9a8BH."
    b"\x9bB."
    b"\x9cLL."
    b"\x9dLLx."
    b"\x9eH."
    b"\x9f."
    b"\xa0x."
    b"\xa1Bi."
    b"\xa2."
    b"\xa3B?H."
    b"\xa4BBMH."
    b"\xbf."
)
# end of what is made

_RANGES = {"B": 0xFF, "H": 0xFFFF, "M": 0x3FFFFFFF, "L": 0xFFFFFFFF}
_SIZES = {"8": 8, "C": 12}
_TEXT_MAX = 32


class Refusal(Exception):
    """The device says no; `code` is one of `wire`'s NO_ constants."""

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
        raise Refusal(_NO_MALFORMED)
    if not isinstance(values, list) or not values or not is_int(values[0]):
        raise Refusal(_NO_MALFORMED)
    shape = _shape(values[0])
    if shape is None:
        raise Refusal(_NO_UNKNOWN)
    values = values[: len(shape) + 1]
    try:
        _check(values)
    except ValueError:
        raise Refusal(_NO_MALFORMED)
    return values


def _shape(message_id: int) -> "str | None":
    """The letters of a message's fields; None for a foreign id."""
    if not 0 <= message_id < 0x80:
        return None
    at = _SHAPES.find(bytes((0x80 | message_id,)))
    if at < 0:
        return None
    return str(_SHAPES[at + 1 : _SHAPES.find(b".", at)], "ascii")


def _check(values: "list[Any]") -> None:
    shape = _shape(values[0])
    if shape is None or len(values) != len(shape) + 1:
        raise ValueError("fields")
    for place in range(len(shape)):
        if not _fits(shape[place], values[place + 1]):
            raise ValueError("field")


def _fits(letter: str, value: "Any") -> bool:
    if letter in _RANGES:
        return is_int(value) and 0 <= value <= _RANGES[letter]
    if letter == "i":
        return is_int(value) and -0x80000000 <= value <= 0x7FFFFFFF
    if letter == "?":
        return isinstance(value, bool)
    if letter == "s":
        return isinstance(value, str) and len(value.encode()) <= _TEXT_MAX
    if not isinstance(value, bytes):
        return False
    return letter == "x" or len(value) == _SIZES[letter]


def is_int(value: "Any") -> bool:
    """Whether it is a number, and no truth value (which is one too, on CPython)."""
    return isinstance(value, int) and not isinstance(value, bool)
