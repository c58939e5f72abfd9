"""The pulse train of one device: its own period and phase for the whole run.

Pulse k is due at run start + phase + k x period, whether the target sends or rests, so that a
target that rests and comes back keeps its place among the others (A1A keying, EN 300 718).
"""

from fieldcore import instant
from fieldcore.compat import TICKS_MASK, const

TYPE_CHECKING = const(0)
if TYPE_CHECKING:
    from fieldcore.instant import Clock

_CARRIER_KHZ = const(457)


class Keying:
    """Where the train stands: `ms`, `us` of the next pulse on the device's clock."""

    def __init__(self) -> None:
        self.ms = 0
        self.us = 0
        self.period_ms = 0
        self.period_rest_us = 0
        self.on_us = 0
        self.periods = 0

    def begin(self, ms: int, us: int, period_us: int, on_us: int, phase_us: int) -> None:
        """Set the train from the run's start instant (ms, us)."""
        self.period_ms = period_us // 1000
        self.period_rest_us = period_us % 1000
        self.on_us = on_us
        self.periods = (on_us * _CARRIER_KHZ + 500) // 1000
        us += phase_us % 1000
        self.ms = (ms + phase_us // 1000 + us // 1000) & TICKS_MASK
        self.us = us % 1000

    def due_us(self, clock: "Clock") -> int:
        """Microseconds until the next pulse; negative when it is late."""
        return instant.diff_us(self.ms, self.us, clock.ms, clock.us)

    def ends_within(self, left_ms: int, us: int) -> bool:
        """Whether a pulse from now is over `left_ms` after the present ms, of which `us` passed."""
        return (self.on_us + us + 999) // 1000 <= left_ms

    def skip_to(self, now_ms: int) -> None:
        """Leave out every pulse due up to now."""
        while instant.diff_ms(self.ms, now_ms) <= 0:
            self.step()

    def step(self) -> None:
        """Go on to the next pulse."""
        us = self.us + self.period_rest_us
        self.ms = (self.ms + self.period_ms + us // 1000) & TICKS_MASK
        self.us = us % 1000
