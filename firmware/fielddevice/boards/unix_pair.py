"""The rig's shared pair as a board has it: a pseudo-terminal, and pins that are simulated.

The direction pin is kept honest: to speak without taking the pair, or to let go of it within a
byte, ends the program with an error. A break is an event that the rig tells.
"""

import time

from fieldcore.compat import const

_AT_ONCE = const(256)
_BYTE_US = const(87)


class UnixPair:
    """`tell` takes what the rig is to know; see `fielddevice.links.bus` for what it must offer."""

    def __init__(self, reading: object, writing: object, tell: object) -> None:
        self.reading = reading
        self._writing = writing
        self._tell = tell
        self._drives = False
        self._sent_us = 0
        self._low_until_us = 0

    def read(self) -> "bytes | None":
        return self.reading.read(_AT_ONCE)

    def drive(self, on: bool) -> None:
        if not on and not self.sent():
            raise ValueError("let go of the pair within a frame")
        self._drives = on

    def write(self, data: bytes) -> None:
        if not self._drives:
            raise ValueError("spoke without taking the pair")
        self._sent_us = time.ticks_us() + len(data) * _BYTE_US
        self._writing.write(data)

    def sent(self) -> bool:
        return time.ticks_us() >= self._sent_us

    def low(self) -> bool:
        return time.ticks_us() < self._low_until_us

    def hold_low(self, us: int) -> None:
        self._tell({"is": "break", "us": us})

    def broken(self, us: int) -> None:
        """Somebody holds the pair at space, from now on for so long."""
        self._low_until_us = time.ticks_us() + us
