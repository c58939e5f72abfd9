"""A host time that is known between two bounds."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Span:
    """Seconds on the host's clock: surely within [low, high], most likely `best`.

    `best` is None when nothing speaks for one moment over another (a clock never synchronised).
    Raises ValueError when the three are out of order or not numbers.
    """

    low: float
    best: float | None
    high: float

    def __post_init__(self) -> None:
        middle = self.low if self.best is None else self.best
        if not self.low <= middle <= self.high:
            raise ValueError(f"a span wants low <= best <= high, not {self}")

    @property
    def width(self) -> float:
        """Seconds between the bounds."""
        return self.high - self.low

    def minus(self, other: Span) -> Span:
        """The time from `other` to this one, as wide as both together."""
        best = None if self.best is None or other.best is None else self.best - other.best
        low, high = self.low - other.high, self.high - other.low
        # Rounding may put the difference of bests a last digit outside the bounds.
        return Span(low, best if best is None else min(max(best, low), high), high)


def exactly(host_s: float) -> Span:
    """A moment stamped by the host itself."""
    return Span(host_s, host_s, host_s)


def unsynced(earliest_s: float, latest_s: float) -> Span:
    """The time of an event whose device clock was never synchronised."""
    return Span(earliest_s, None, latest_s)
