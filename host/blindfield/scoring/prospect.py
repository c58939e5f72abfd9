"""What can be said of somebody's next attempt at a standard, and what it rests on."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import NormalDist, median
from typing import Literal

import numpy as np

from blindfield.scoring.attempts import (
    LEAST_COUNTED,
    Attempt,
    Goal,
    Timed,
    as_judged,
    blind_ones,
    counts_towards,
    knowing_ones,
)
from blindfield.scoring.counts import Count, met_of_last
from blindfield.scoring.learning import PRIOR, Numbered, curve_of
from blindfield.scoring.readiness import Readiness, Trial, readiness

Basis = Literal["search", "whole", "search and dig combined", "search part only"]

LEAST_DIGS = 3
_EVEN = 24  # points that stand for how long the digging may take


@dataclass(frozen=True, kw_only=True)
class Prospect:
    """`count`: of the last comparable runs. `said` is None while fewer than 8 count; `more`: how
    many are missing. `basis`: "search part only" where no digging was practised. `runs` and `digs`
    it rests on. `dig_s`: the usual time of one dig, by the model where `dig_is_model`; `budget_s`:
    what it leaves for the search.
    """

    goal: Goal
    count: Count
    said: Readiness | None
    more: int
    basis: Basis
    runs: int
    digs: int
    dig_s: float | None = None
    dig_is_model: bool = False

    @property
    def budget_s(self) -> float | None:
        return search_budget_s(self.goal.limit_s, self.goal.targets, self.dig_s)


@dataclass(frozen=True)
class Prospects:
    """`blind`: what counts. `knowing`: of runs by somebody who knew the places, an upper bound, and
    None where there are none; the two share no run."""

    blind: Prospect
    knowing: Prospect | None


def prospects_of(goal: Goal, attempts: Sequence[Attempt]) -> Prospects:
    """`attempts` of one person, in the order made."""
    comparable = [as_judged(goal, one) for one in attempts if counts_towards(goal, one)]
    digs = dig_times(attempts)
    knowing = knowing_ones(comparable)
    return Prospects(
        blind=_prospect(goal, blind_ones(comparable), digs),
        knowing=_prospect(goal, knowing, digs) if knowing else None,
    )


def dig_times(attempts: Iterable[Attempt]) -> list[Timed]:
    """Every dig, strike to dug out, in the order made: to know the place helps nobody to dig."""
    return [dig for one in attempts if one.outcome != "void" for dig in one.digs]


def _prospect(goal: Goal, comparable: Sequence[Attempt], digs: Sequence[Timed]) -> Prospect:
    if goal.work != "search and dig":
        direct = [one for one in comparable if one.work == goal.work]
        return _direct(goal, direct, "search", ())
    direct = [one for one in comparable if one.work == goal.work]
    searched = [one for one in comparable if one.search is not None]
    if sum(one.judged for one in direct) >= LEAST_COUNTED:
        return _direct(goal, direct, "whole", digs)
    return _from_parts(goal, searched, direct, digs)


def _direct(
    goal: Goal, attempts: Sequence[Attempt], basis: Basis, digs: Sequence[Timed]
) -> Prospect:
    """From whole runs of the very standard."""
    trials = [
        _trial(number, one, one.whole, one.met)
        for number, one in enumerate(attempts, 1)
        if one.judged
    ]
    usual_s = usual_dig_s(digs)
    return Prospect(
        goal=goal,
        count=met_of_last(attempts),
        said=readiness(trials, goal.limit_s, goal.kinds),
        more=max(0, LEAST_COUNTED - len(trials)),
        basis=basis,
        runs=len(trials),
        digs=len(digs),
        dig_s=usual_s,
    )


def _from_parts(
    goal: Goal, searched: Sequence[Attempt], direct: Sequence[Attempt], digs: Sequence[Timed]
) -> Prospect:
    """From the search of some runs and the digging of others."""
    trials = [
        _trial(number, one, one.search, True)
        for number, one in enumerate(searched, 1)
        if one.judged
    ]
    drawn_s = _next_digs(digs, goal.targets)
    own = drawn_s is not None
    dig_s = usual_dig_s(digs) if own else modelled_dig_s(goal)
    left_s = [goal.limit_s - one for one in drawn_s or [goal.targets * dig_s if dig_s else 0.0]]
    usual_s = max(1.0, median(left_s))
    return Prospect(
        goal=goal,
        count=met_of_last(direct or searched),
        said=readiness(trials, usual_s, goal.kinds, left_s=left_s),
        more=max(0, LEAST_COUNTED - len(trials)),
        basis="search and dig combined" if own else "search part only",
        runs=len(trials),
        digs=len(digs),
        dig_s=dig_s,
        dig_is_model=not own,
    )


def _trial(number: int, one: Attempt, time: Timed | None, passed: bool) -> Trial:
    """A run whose time is not known at all says no more than its outcome."""
    if time is None:
        return Trial(number, one.kind, one.limit_s if passed else None, 0.0, passed)
    return Trial(number, one.kind, None if time.cut else time.seconds, time.seconds, passed)


def usual_dig_s(digs: Sequence[Timed]) -> float | None:
    """The middle of the digs that ended; None without any."""
    ended = [one.seconds for one in digs if not one.cut]
    return median(ended) if ended else None


def search_budget_s(limit_s: float, holes: int, dig_s: float | None) -> float | None:
    """What the digging of so many holes leaves of the limit; None where no dig is known."""
    return None if dig_s is None else max(0.0, limit_s - holes * dig_s)


def _next_digs(digs: Sequence[Timed], holes: int) -> list[float] | None:
    """How long the digging of the next run may take, each as likely; None with too few digs."""
    curve = curve_of([Numbered(number, one) for number, one in enumerate(digs, 1)], PRIOR)
    if curve is None or sum(not one.cut for one in digs) < LEAST_DIGS:
        return None
    return [
        holes * seconds for seconds in mean_times(curve.median(len(digs) + 1), curve.spread, holes)
    ]


def mean_times(usual_s: float, spread: float, holes: int) -> list[float]:
    """What the mean of `holes` lognormal times may be, each as likely: `usual_s` is the median of
    one, `spread` its standard deviation on the logarithm. The mean is taken as lognormal with the
    mean and variance that it has (Fenton 1960, from memory)."""
    square = np.log1p(np.expm1(spread**2) / holes)
    shares = (np.arange(_EVEN) + 0.5) / _EVEN
    middle = np.log(usual_s) + (spread**2 - square) / 2
    places = [NormalDist().inv_cdf(float(share)) for share in shares]
    return [float(np.exp(middle + np.sqrt(square) * place)) for place in places]


def modelled_dig_s(goal: Goal) -> float:
    """Of one hole of the deepest that the standard knows, by the modelled practised searcher."""
    from blindfield.searcher.excavation import excavation_s
    from blindfield.searcher.profiles import profile_named

    return float(excavation_s(np.array([goal.depth_m[1]]), profile_named("practised"))[0])
