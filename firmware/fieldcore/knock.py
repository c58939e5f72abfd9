"""The knock pattern that ends a run from the field: five even knocks out of stillness.

A knock is a sharp hit as the strike detector hears it before its refractory time. Gaps of 150 to
700 ms, each within 40 % of their mean, exactly five, and at least a second of stillness before the
first and after the last. Spiral probing (a hit every second or two, or a double hit), steps and
shovelling do not make it.
"""

from fieldcore.compat import const, ticks_add, ticks_diff
from fieldcore.sensor import Block
from fieldcore.strike import StrikeDetector

_KNOCKS = const(5)
_STILL_US = const(1_000_000)
_GAP_MIN_US = const(150_000)
_GAP_MAX_US = const(700_000)
_UNEVEN_PERCENT = const(40)


class KnockDetector:
    """Times are raw 30-bit microsecond ticks; `advance` must be called every 5 min or oftener."""

    def __init__(self) -> None:
        self._gaps_us = [0] * (_KNOCKS - 1)
        self._count = 0  # knocks of the pattern under way
        self._still = False  # nothing for _STILL_US up to the last time given
        self._last_us = 0  # the last hit or motion; of no meaning while still
        self._started = False
        self._done = False

    def take(self, detector: StrikeDetector, block: Block) -> None:
        """Take over what the strike detector heard in the block it was fed last."""
        for k in range(detector.sharp_count):
            self.hit(ticks_add(block.first_us, detector.sharp_at_us[k]))
        if detector.moving and not detector.sharp_count:
            self.motion(block.first_us)

    def hit(self, at_us: int) -> None:
        """A sharp hit at `at_us`."""
        self._pass(at_us)
        gap_us = ticks_diff(at_us, self._last_us)
        self._last_us = at_us
        if self._still:
            self._still = False
            self._count = 1
        elif 0 < self._count < _KNOCKS and _GAP_MIN_US <= gap_us <= _GAP_MAX_US:
            self._gaps_us[self._count - 1] = gap_us
            self._count += 1
        else:
            self._count = 0

    def motion(self, at_us: int) -> None:
        """Motion that is no hit. Between knocks it is the knocking hand's."""
        self._pass(at_us)
        if 0 < self._count < _KNOCKS:
            return
        gap_us = ticks_diff(at_us, self._last_us)
        if self._count == _KNOCKS and gap_us < _GAP_MIN_US:
            return
        self._count = 0
        self._still = False
        self._last_us = at_us

    def advance(self, now_us: int) -> bool:
        """Whether a pattern is complete at `now_us`; True once for each."""
        self._pass(now_us)
        done = self._done
        self._done = False
        return done

    def _pass(self, now_us: int) -> None:
        """Let time go on: a second without anything ends a pattern, well or not."""
        if not self._started:
            self._started = True
            self._last_us = now_us
        if self._still or ticks_diff(now_us, self._last_us) < _STILL_US:
            return
        self._still = True
        if self._count == _KNOCKS and self._is_even():
            self._done = True
        self._count = 0

    def _is_even(self) -> bool:
        mean_us = sum(self._gaps_us) // (_KNOCKS - 1)
        for gap_us in self._gaps_us:
            if abs(gap_us - mean_us) * 100 > mean_us * _UNEVEN_PERCENT:
                return False
        return True
