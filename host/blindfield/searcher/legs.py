"""Times of modelled searches by leg and phase, and statistics in which nobody is dropped.

A searcher who gave up counts with an infinite time: longer than any who finished.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from blindfield.physics.arrays import Bools, Floats
from blindfield.searcher.values import Phase, Problem, Walks

Z_95 = 1.959964  # two-sided 95 % point of the normal distribution


@dataclass(frozen=True)
class Pace:
    """How somebody differs from a profile: `time` multiplies the time of every leg, `spread` its
    spread about the median (on the logarithm). Digging is left as it is.

    Raises ValueError unless both are positive and finite.
    """

    time: float = 1.0
    spread: float = 1.0

    def __post_init__(self) -> None:
        if not (0 < self.time < math.inf and 0 < self.spread < math.inf):
            raise ValueError(f"a pace wants positive factors, not {self}")


@dataclass(frozen=True)
class Times:
    """`count` searches of k legs, in seconds; inf where the searcher did not get to the end of it.

    `leg_s`, `dig_s`: (count, k): from the start or the find before (or its being dug out, where
    digging is part of it) to the strike; from the strike to the target's being dug out (0 where
    digging is no part). A leg that was never begun is inf too. `phase_s`: (count, k, len(Phase)),
    nan on a leg that did not end.
    """

    leg_s: Floats
    dig_s: Floats
    phase_s: Floats

    @property
    def whole_s(self) -> Floats:
        """(count,), from the start to the last strike, or to the last target's being dug out."""
        total: Floats = (self.leg_s + self.dig_s).sum(axis=1)
        return total


def times_of(walks: Walks, problem: Problem) -> Times:
    """The times of `walks`. Raises ValueError where their shapes do not fit the problem."""
    targets = len(problem.sources)
    count = walks.found_s.shape[0]
    for name, shape in (("found_s", (count, targets)), ("order", (count, targets))):
        if getattr(walks, name).shape != shape:
            raise ValueError(f"{name} of these walks is {getattr(walks, name).shape}, not {shape}")
    if walks.phase_s.shape != (count, targets, len(Phase)):
        raise ValueError(f"phase_s of these walks is {walks.phase_s.shape}")
    struck_s = _in_order(walks.found_s, walks)
    ended_s = _in_order(walks.dug_s, walks) if problem.end_on == "dug_out" else struck_s
    before_s = np.concatenate([np.zeros((count, 1)), ended_s[:, :-1]], axis=1)
    leg_s = _difference(struck_s, before_s)
    return Times(leg_s, _difference(ended_s, struck_s), walks.phase_s)


def _in_order(times_s: Floats, walks: Walks) -> Floats:
    """By find instead of by source; inf where there was none."""
    happened: Bools = walks.order >= 0
    sorted_s = np.take_along_axis(times_s, np.where(happened, walks.order, 0), axis=1)
    finite: Floats = np.where(happened & ~np.isnan(sorted_s), sorted_s, np.inf)
    return finite


def _difference(later_s: Floats, earlier_s: Floats) -> Floats:
    both = np.isfinite(later_s) & np.isfinite(earlier_s)
    between: Floats = np.full(later_s.shape, np.inf)
    np.subtract(later_s, earlier_s, out=between, where=both)
    return between


def paced(times: Times, pace: Pace, *, until_s: float) -> Times:
    """The same searches by somebody of another pace: leg t becomes time * m * (t/m)^spread, m the
    leg's median; what then ends after `until_s` is not reached.

    The fallback times of staggered signals do not stretch with it (a small error, since they go
    with the first find otherwise).
    """
    if pace == Pace():
        return times
    leg_s, phase_s = times.leg_s.copy(), times.phase_s.copy()
    for leg in range(leg_s.shape[1]):
        ended = np.isfinite(leg_s[:, leg]) & (leg_s[:, leg] > 0)
        if not ended.any():
            continue
        before_s = leg_s[ended, leg]
        median_s = float(np.median(before_s))
        after_s = pace.time * median_s * (before_s / median_s) ** pace.spread
        leg_s[ended, leg] = after_s
        on_foot = phase_s[ended, leg, : Phase.EXCAVATION]
        phase_s[ended, leg, : Phase.EXCAVATION] = on_foot * (after_s / before_s)[:, None]
    return _cut(Times(leg_s, times.dig_s.copy(), phase_s), until_s)


def _cut(times: Times, until_s: float) -> Times:
    """What would end after `until_s` is not reached."""
    ended_s = np.cumsum(times.leg_s + times.dig_s, axis=1)
    begun_s = np.concatenate([np.zeros((len(ended_s), 1)), ended_s[:, :-1]], axis=1)
    times.leg_s[begun_s + times.leg_s > until_s] = np.inf
    times.dig_s[ended_s > until_s] = np.inf
    return times


def quantile(values: Floats, share: float) -> float:
    """The least of `values` by which at least this share of them is reached; may be inf.

    The inverted distribution function: it never interpolates, so that more infinite values never
    lower it. `share` in (0, 1]. Raises ValueError without values.
    """
    if not values.size:
        raise ValueError("no values, no quantile")
    place = max(0, math.ceil(share * values.size - 1e-9) - 1)
    return float(np.partition(values, place)[place])


def median_error(values: Floats) -> float | None:
    """Standard error of the median from the order statistics that enclose it with 95 %.

    Ranks n/2 +- 1.96 sqrt(n)/2 (binomial, normal approximation: from about 20 values on); their
    distance over 2 x 1.96. None when the upper one is not finite or there are fewer than 20
    values. Common practice, no source; a bootstrap agrees (tests).
    """
    count = values.size
    if count < 20:
        return None
    half = Z_95 * math.sqrt(count) / 2
    low, high = max(0, math.floor(count / 2 - half)), min(count - 1, math.ceil(count / 2 + half))
    placed = np.partition(values, (low, high))
    width = float(placed[high] - placed[low]) if np.isfinite(placed[high]) else math.inf
    # The ranks are whole numbers: the width is brought to exactly the 95 % asked for.
    return None if math.isinf(width) else width / (high - low) * 2 * half / (2 * Z_95)


def wilson(hits: int, count: int) -> tuple[float, float]:
    """95 % interval of a share, Wilson 1927 (from memory); 7 of 10: 0.396778 to 0.892209.

    Raises ValueError unless 0 <= hits <= count and count > 0.
    """
    if not 0 <= hits <= count or count <= 0:
        raise ValueError(f"{hits} of {count} is no share")
    share, square = hits / count, Z_95 * Z_95
    middle = (share + square / (2 * count)) / (1 + square / count)
    half = (
        Z_95
        / (1 + square / count)
        * math.sqrt(share * (1 - share) / count + square / (4 * count * count))
    )
    low, high = middle - half, middle + half
    return (0.0 if hits == 0 else low), (1.0 if hits == count else high)
