"""Bytes from one writer to one reader, in a place given once."""

from fieldcore.compat import TICKS_MASK


class Ring:
    """A writer that interrupts the reader is fine: only it moves `put_count`, only the reader
    `taken_count`. Both count all bytes ever, modulo 2**30. `room` is a power of two.
    """

    def __init__(self, room: int) -> None:
        self.room = room
        self.put_count = 0
        self.taken_count = 0
        self._bytes = bytearray(room)

    def __len__(self) -> int:
        return (self.put_count - self.taken_count) & TICKS_MASK

    def put(self, data: "bytes | bytearray | memoryview") -> bool:
        """All of it, or nothing when there is no room."""
        size = len(data)
        if size > self.room - len(self):
            return False
        at = self.put_count & (self.room - 1)
        first = min(size, self.room - at)
        self._bytes[at : at + first] = data[:first]
        self._bytes[: size - first] = data[first:]
        self.put_count = (self.put_count + size) & TICKS_MASK
        return True

    def peek(self, most: int) -> bytes:
        """The oldest bytes, which stay."""
        size = min(most, len(self))
        at = self.taken_count & (self.room - 1)
        data = bytes(self._bytes[at : at + size])
        return data + bytes(self._bytes[: size - len(data)])

    def skip(self, count: int) -> None:
        """Give up the oldest bytes."""
        self.taken_count = (self.taken_count + count) & TICKS_MASK
