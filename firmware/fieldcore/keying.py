"""The pulse train of one device: its own period and phase for the whole run.

Pulse k is due at run start + phase + k x period, whether the target sends or rests, so that a
target that rests and comes back keeps its place among the others (A1A keying, EN 300 718).
"""

from fieldcore import instant
from fieldcore.compat import TICKS_MASK, const

TYPE_CHECKING = const(0)
if TYPE_CHECKING:
    from fieldcore.instant import Clock

CARRIER_KHZ = 457
LATE_MAX_US = 50_000  # a pulse later than this is left out: off its place it would mislead


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
        self.periods = (on_us * CARRIER_KHZ + 500) // 1000
        us += phase_us % 1000
        self.ms = (ms + phase_us // 1000 + us // 1000) & TICKS_MASK
        self.us = us % 1000

    def due_us(self, clock: "Clock") -> int:
        """Microseconds until the next pulse; negative when it is late."""
        return instant.diff_us(self.ms, self.us, clock.ms, clock.us)

    def step(self) -> None:
        """Go on to the next pulse."""
        us = self.us + self.period_rest_us
        self.ms = (self.ms + self.period_ms + us // 1000) & TICKS_MASK
        self.us = us % 1000
