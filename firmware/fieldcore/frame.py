"""Frames: address, body and CRC-32, stuffed by COBS and ended by one zero byte.

COBS as in S. Cheshire and M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on
Networking 7(2), 1999: the stuffed bytes hold no zero, so a reader finds the next frame after any
noise, and text printed on the same line is passed over.
"""

from fieldcore.compat import const, crc32

MAX_FRAME = const(250)  # address + body + CRC-32, before COBS
MAX_BODY = const(245)
MAX_STUFFED = const(251)  # COBS adds one byte to at most 254
_CRC_RESIDUE = const(0x2144DF1C)  # CRC-32 over any data followed by its own little-endian CRC-32
_LEAST = const(5)


def cobs_encode(data: "bytes | bytearray") -> bytes:
    """`data` without zero bytes (no trailing delimiter)."""
    # Each zero's own place takes the distance to the next, so nothing moves unless 254 bytes in a
    # row have no zero: only then is a byte put in.
    out = bytearray(1)
    out.extend(data)
    at = 0
    while True:
        zero = out.find(b"\0", at + 1)
        end = len(out) if zero < 0 else zero
        if end - at > 254:
            out[at] = 255
            at += 255
            if at < len(out):
                out = out[:at] + b"\0" + out[at:]
                continue
            return bytes(out)
        out[at] = end - at
        if zero < 0:
            return bytes(out)
        at = zero


def cobs_decode(data: "bytes | bytearray") -> bytes:
    """The inverse of `cobs_encode`. Raises ValueError for a zero byte, or an end within a block."""
    if data.find(b"\0") >= 0:
        raise ValueError("zero in stuffed data")
    out = bytearray(data)
    done = b""
    start = 1
    at = 0
    while at < len(data):
        code = data[at]
        out[at] = 0
        at += code
        if code == 255:
            done += bytes(out[start:at])
            start = at + 1
    if at != len(data):
        raise ValueError("truncated")
    return done + bytes(out[start:])


def encode(address: int, body: "bytes | bytearray") -> bytes:
    """One whole frame with its ending zero byte.

    Raises ValueError for an address outside 0..255 or a body of more than MAX_BODY bytes.
    """
    if not 0 <= address <= 255 or len(body) > MAX_BODY:
        raise ValueError("frame out of range")
    plain = bytearray(1)
    plain[0] = address
    plain.extend(body)
    plain.extend(crc32(plain).to_bytes(4, "little"))
    return cobs_encode(plain) + b"\0"


class Reader:
    """Finds the frames in a stream of bytes; never raises on input.

    `room` bounds what may be fed between two rounds of `next()`; beyond it the oldest is given up.
    `bad` counts what was given up: junk, a wrong CRC, a frame too long or cut short.
    """

    def __init__(self, room: int = 4096) -> None:
        self.bad = 0
        self._buffer = bytearray(room)
        self._start = 0
        self._end = 0
        self._skipping = False

    def feed(self, data: "bytes | bytearray | memoryview") -> None:
        """Takes bytes as they come; they are copied."""
        size = len(data)
        if self._end + size > len(self._buffer):
            data = self._make_room(data)
            size = len(data)
        self._buffer[self._end : self._end + size] = data
        self._end += size

    def next(self) -> "tuple[int, bytes] | None":
        """The next good frame as (address, body), or None when more bytes are needed."""
        while True:
            zero = self._buffer.find(b"\0", self._start, self._end)
            if zero < 0:
                self._drop_overlong()
                return None
            start = self._start
            self._start = zero + 1
            if self._skipping:
                self._skipping = False
            elif zero > start:
                plain = self._open(start, zero)
                if plain:
                    return plain[0], plain[1:-4]
                self.bad += 1

    def _open(self, start: int, end: int) -> "bytes | None":
        if end - start > MAX_STUFFED:
            return None
        try:
            plain = cobs_decode(self._buffer[start:end])
        except ValueError:
            return None
        if len(plain) < _LEAST or crc32(plain) != _CRC_RESIDUE:
            return None
        return plain

    def _drop_overlong(self) -> None:
        if self._skipping:
            self._start = self._end
        elif self._end - self._start > MAX_STUFFED:
            self._give_up()
        if self._start == self._end:
            self._start = self._end = 0

    def _give_up(self) -> None:
        self.bad += 1
        self._skipping = True
        self._start = self._end

    def _make_room(
        self, data: "bytes | bytearray | memoryview"
    ) -> "bytes | bytearray | memoryview":
        held = self._end - self._start
        self._buffer[:held] = self._buffer[self._start : self._end]
        self._start = 0
        self._end = held
        room = len(self._buffer)
        if held + len(data) > room:
            self._give_up()
            self._start = self._end = 0
            data = data[-room:]
        return data
