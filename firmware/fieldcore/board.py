"""What the core asks of a board. Drivers: a process on the practice bench, a simulation, a chip.

Only the type checker reads this file; a device needs none of it.
"""

from fieldcore.compat import const

TYPE_CHECKING = const(0)
if TYPE_CHECKING:
    from typing import Protocol

    from fieldcore.journal import Store

    class Board(Protocol):
        device_id: bytes  # 8 bytes
        role: int  # 0 target, 1 post
        board: str
        build: str
        channels: int  # bits of `sensor`: which sensors exist
        hints: bool  # may send have_data unasked (never on a shared bus)
        store: Store

        def key(self) -> bytes | None: ...
        def random(self, count: int) -> bytes: ...
        def settings_bytes(self) -> bytes | None: ...
        def keep_settings(self, data: bytes) -> None: ...
        def battery_mv(self) -> int: ...

        def pulse(self, periods: int) -> None:
            """One burst of exactly so many carrier periods, which ends by itself."""

        def abort(self) -> None:
            """Carrier off now."""

        def send(self, link: int, data: bytes) -> None:
            """A whole encoded frame out of that link."""

        def advertise(self, data: bytes) -> None:
            """Repeat this frame to the devices near; may do nothing."""

        def light(self, pattern: int) -> None: ...
        def horn(self, pattern: int) -> None: ...
