"""Times by kind and leg, beside par and along the learning curve."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import median

from blindfield.scoring.attempts import Attempt, Timed
from blindfield.scoring.learning import (
    PRIOR,
    PRIOR_OF_RATIO,
    Curve,
    Numbered,
    curve_of,
)


@dataclass(frozen=True)
class Trend:
    """Of one kind, one leg (1, 2 ...; None: the whole) or the digging (leg 0).

    `runs` in which it was begun, `cut` of them broken off; `latest`; `middle_s`: median of those
    that ended, None where half were cut; `curve`: None with too few; `over_par`: the usual time of
    the next run over par, by a curve of its own through the runs that have a par, else None.
    """

    kind: str
    leg: int | None
    runs: int
    cut: int
    latest: Timed
    middle_s: float | None
    curve: Curve | None
    over_par: float | None

    @property
    def next_s(self) -> float | None:
        """The usual time of the next run."""
        return None if self.curve is None else self.curve.median(self.runs + 1)


def trends_of(attempts: Sequence[Attempt]) -> list[Trend]:
    """Of blind searches that are not void: by kind, in the order first practised, each leg, then
    the whole where there is more than one leg."""
    counted = [
        one for one in attempts if one.outcome != "void" and one.blind and one.work != "dig only"
    ]
    return [
        trend
        for kind in dict.fromkeys(one.kind for one in counted)
        for trend in _of(kind, [one for one in counted if one.kind == kind])
    ]


def dig_trend(digs: Sequence[Timed]) -> Trend | None:
    """Of every dig, whatever the kind of the run."""
    return _trend("", 0, [(one, None) for one in digs])


def _of(kind: str, runs: Sequence[Attempt]) -> Iterator[Trend]:
    legs = max((len(one.legs) for one in runs), default=0)
    for leg in range(1, legs + 1):
        times = [(one.legs[leg - 1], _par(one, leg)) for one in runs if len(one.legs) >= leg]
        found = _trend(kind, leg, [(time, par) for time, par in times if time is not None])
        if found is not None:
            yield found
    whole = [(one.whole, one.par_whole_s) for one in runs if one.whole is not None]
    found = _trend(kind, None, [(time, par) for time, par in whole if time is not None])
    if found is not None and legs != 1:
        yield found


def _par(one: Attempt, leg: int) -> float | None:
    return one.par_legs_s[leg - 1] if len(one.par_legs_s) >= leg else None


def _trend(kind: str, leg: int | None, times: Sequence[tuple[Timed, float | None]]) -> Trend | None:
    if not times:
        return None
    runs = [Numbered(number, time) for number, (time, _) in enumerate(times, 1)]
    ratios = [
        Numbered(number, Timed(time.seconds / par, time.cut))
        for number, (time, par) in enumerate(times, 1)
        if par
    ]
    against = curve_of(ratios, PRIOR_OF_RATIO)
    cut = sum(time.cut for time, _ in times)
    return Trend(
        kind=kind,
        leg=leg,
        runs=len(times),
        cut=cut,
        latest=times[-1][0],
        middle_s=_middle([time for time, _ in times]),
        curve=curve_of(runs, PRIOR),
        over_par=None if against is None else against.median(len(times) + 1),
    )


def _middle(times: Sequence[Timed]) -> float | None:
    """A run that was cut is longer than any that ended; None where the median is such a one."""
    ended = sorted(time.seconds for time in times if not time.cut)
    cut = len(times) - len(ended)
    if cut * 2 >= len(times):
        return None
    return median([*ended, *([float("inf")] * cut)])
