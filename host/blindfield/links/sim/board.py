"""A simulated board: the Board port of the core, on the loop's time."""

from __future__ import annotations

from collections.abc import Callable
from random import Random
from typing import TYPE_CHECKING

from blindfield.links.sim.flash import SimFlash
from blindfield.links.sim.strikes import ACCELEROMETER, PLATE
from fieldcore.compat import TICKS_MASK

if TYPE_CHECKING:
    from fieldcore.journal import Store

CARRIER_HZ = 457_000
TARGET, POST = 0, 1

Burst = tuple[float, int, float | None]
"""(start in host seconds, carrier periods, when it was cut short or None)."""

_KEYING_S = 1.4  # longer than any period of keying: no burst for so long is no sending
_FULL_MV = 4000


class SimClock:
    """A free-running 30-bit microsecond counter, `ppm` too fast against the host's clock."""

    def __init__(self, ppm: float) -> None:
        self.rate = 1.0 + ppm * 1e-6
        self._at_s = 0.0
        self._at_us = 0.0

    def ticks_us(self, host_s: float) -> int:
        """The counter's reading at a host time, this boot's or a little before."""
        return int(self._elapsed_us(host_s)) & TICKS_MASK

    def boot(self, host_s: float, phase_us: int) -> None:
        """The counter reads `phase_us` now."""
        self._at_s, self._at_us = host_s, float(phase_us)

    def detune(self, host_s: float, ppm: float) -> None:
        """From now on it is `ppm` too fast; what it reads does not jump."""
        self._at_us = self._elapsed_us(host_s) % (TICKS_MASK + 1)
        self._at_s = host_s
        self.rate = 1.0 + ppm * 1e-6

    def _elapsed_us(self, host_s: float) -> float:
        return self._at_us + (host_s - self._at_s) * self.rate * 1e6


class SimBoard:
    """What the core asks of a board, and what a test may look at.

    `carrier` lists every burst in true host seconds. `on_send(data)` and `on_advertise(data)` take
    what goes out of the wire and onto the air. `shown` holds the patterns of light and horn.
    """

    board = "sim"
    build = "sim"
    hints = True

    def __init__(
        self,
        device_id: bytes,
        role: int,
        key: bytes | None,
        rng: Random,
        now_s: Callable[[], float],
        ppm: float = 0.0,
    ) -> None:
        self.device_id = device_id
        self.role = role
        self.channels = ACCELEROMETER | PLATE if role == TARGET else 0
        self.flash = SimFlash()
        self.store: Store = self.flash
        self.clock = SimClock(ppm)
        self.carrier: list[Burst] = []
        self.mv = _FULL_MV
        self.shown = {"light": 0, "horn": 0}
        self.on_send: Callable[[bytes], None] = _unheard
        self.on_advertise: Callable[[bytes], None] = _unheard
        self._key = key
        self._rng = rng
        self._now_s = now_s
        self._settings: bytes | None = None
        self._keyed = False

    def key(self) -> bytes | None:
        return self._key

    def random(self, count: int) -> bytes:
        return self._rng.randbytes(count)

    def settings_bytes(self) -> bytes | None:
        return self._settings

    def keep_settings(self, data: bytes) -> None:
        self._settings = data

    def battery_mv(self) -> int:
        return self.mv

    def pulse(self, periods: int) -> None:
        self._keyed = True
        self.carrier.append((self._now_s(), periods, None))

    def abort(self) -> None:
        self._keyed = False
        if not self.carrier:
            return
        start_s, periods, aborted_s = self.carrier[-1]
        now_s = self._now_s()
        if aborted_s is None and now_s < start_s + periods / CARRIER_HZ:
            self.carrier[-1] = (start_s, periods, now_s)

    def sending(self) -> bool:
        """Whether its keyed carrier is on the air: a burst now, or one a keying period ago."""
        return self._keyed and self._now_s() < self.carrier[-1][0] + _KEYING_S

    def send(self, link: int, data: bytes) -> None:  # noqa: ARG002 - it has one link
        self.on_send(data)

    def advertise(self, data: bytes) -> None:
        self.on_advertise(data)

    def light(self, pattern: int) -> None:
        self.shown["light"] = pattern

    def horn(self, pattern: int) -> None:
        self.shown["horn"] = pattern

    def power_gone(self) -> None:
        """No carrier, light or horn without power."""
        self.abort()
        self.shown = {"light": 0, "horn": 0}


def _unheard(data: bytes) -> None:
    """Nothing is wired there."""
