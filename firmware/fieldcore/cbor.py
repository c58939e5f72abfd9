"""A strict subset of CBOR (RFC 8949): one way to write each value, and bounded depth.

Integers of up to 32 bits of payload (-2^32 .. 2^32 - 1), byte strings, UTF-8 text, arrays, true,
false and null. Definite lengths and shortest heads only; everything else is refused.
"""

from fieldcore.compat import const

TYPE_CHECKING = const(0)  # the type checker knows the name; a device has no `typing`
if TYPE_CHECKING:
    from typing import Any

MAX_DEPTH = const(4)


def dumps(obj: "Any") -> bytes:
    """The one encoding of `obj`. Raises ValueError for what the subset does not hold."""
    out = bytearray()
    _write(out, obj, 0)
    return bytes(out)


def loads(data: "bytes | bytearray | memoryview") -> "Any":
    """The value of `data`, which must be exactly one item; arrays become lists.

    Raises ValueError for anything malformed, outside the subset, or not in shortest form.
    """
    obj, end = _read(data, 0, 0)
    if end != len(data):
        raise ValueError("bytes after item")
    return obj


def _head(out: bytearray, major: int, n: int) -> None:
    if n < 24:
        out.append(major | n)
        return
    size = 1 if n < 0x100 else 2 if n < 0x10000 else 4
    out.append(major | (24 if size == 1 else 25 if size == 2 else 26))
    out.extend(n.to_bytes(size, "big"))


def _write(out: bytearray, obj: "Any", depth: int) -> None:
    # The three simple values come first: on CPython True is an int too.
    if obj is False or obj is True or obj is None:
        out.append(0xF6 if obj is None else 0xF5 if obj else 0xF4)
    elif isinstance(obj, int):
        n = obj if obj >= 0 else -1 - obj
        if n > 0xFFFFFFFF:
            raise ValueError("int too large")
        _head(out, 0 if obj >= 0 else 0x20, n)
    elif isinstance(obj, str):
        raw = obj.encode()
        _check_text(obj, len(raw))
        _head(out, 0x60, len(raw))
        out.extend(raw)
    elif isinstance(obj, (bytes, bytearray, memoryview)):
        _head(out, 0x40, len(obj))
        out.extend(obj)
    elif isinstance(obj, (list, tuple)):
        if depth >= MAX_DEPTH:
            raise ValueError("too deep")
        _head(out, 0x80, len(obj))
        for item in obj:
            _write(out, item, depth + 1)
    else:
        raise ValueError("type not in subset")


def _read(data: "bytes | bytearray | memoryview", at: int, depth: int) -> "tuple[Any, int]":
    if at >= len(data):
        raise ValueError("truncated")
    first = data[at]
    if 0xF4 <= first <= 0xF6:
        return (False, True, None)[first - 0xF4], at + 1
    major = first >> 5
    n, at = _argument(data, at)
    if major == 0:
        return n, at
    if major == 1:
        return -1 - n, at
    if major == 4:
        return _read_list(data, at, n, depth)
    if major > 4:
        raise ValueError("type not in subset")
    end = at + n
    if end > len(data):
        raise ValueError("truncated")
    raw = bytes(data[at:end])
    return (raw if major == 2 else _text(raw)), end


def _argument(data: "bytes | bytearray | memoryview", at: int) -> "tuple[int, int]":
    short = data[at] & 31
    at += 1
    if short < 24:
        return short, at
    if short > 26:
        raise ValueError("length not in subset")
    size = 1 << (short - 24)
    if at + size > len(data):
        raise ValueError("truncated")
    n = int.from_bytes(data[at : at + size], "big")
    if n < 24 or (size > 1 and n >> (size * 4) == 0):
        raise ValueError("not shortest form")
    return n, at + size


def _read_list(
    data: "bytes | bytearray | memoryview", at: int, n: int, depth: int
) -> "tuple[list[Any], int]":
    if depth >= MAX_DEPTH:
        raise ValueError("too deep")
    if n > len(data) - at:  # before range(n): a 32-bit board's range refuses a large n otherwise
        raise ValueError("truncated")
    items = []
    for _ in range(n):
        item, at = _read(data, at, depth + 1)
        items.append(item)
    return items, at


def _text(raw: bytes) -> str:
    text = str(raw, "utf-8")
    _check_text(text, len(raw))
    return text


def _check_text(text: str, size: int) -> None:
    """MicroPython lets surrogates, overlong forms and code points above U+10FFFF pass."""
    for c in text:
        n = ord(c)
        if n > 0x10FFFF or 0xD800 <= n < 0xE000:
            raise ValueError("bad text")
        size -= 1 if n < 0x80 else 2 if n < 0x800 else 3 if n < 0x10000 else 4
    if size:
        raise ValueError("bad text")
