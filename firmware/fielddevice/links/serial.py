"""A serial line on two byte streams: frames only, no waiting, no flow control."""

import select

_AT_ONCE = 256
_FAR_US = 300_000_000


class SerialLink:
    """`reading` and `writing` are streams on descriptors that do not block."""

    def __init__(self, reading: object, writing: object) -> None:
        self.reading = reading
        self._writing = writing
        self._room = select.poll()
        self._room.register(writing, select.POLLOUT)

    def read(self) -> "bytes | None":
        """What came; None when nothing did. OSError when the line is gone."""
        return self.reading.read(_AT_ONCE)

    def deliver(self, device: object, data: bytes, now_us: int) -> None:
        """All of it is for the core."""
        device.feed(0, data, now_us)

    def mind(self, device: object, now_us: int) -> int:  # noqa: ARG002 - the bus needs them
        """It has nothing to do by itself; microseconds until it wants to be called again."""
        return _FAR_US

    def write(self, frame: bytes) -> None:
        """Send a whole frame, or nothing when nobody takes what was sent before."""
        if self._room.poll(0):
            self._writing.write(frame)
