"""A profile refitted to people's own legs, and the model held against them.

The model of a leg's time y on a problem whose modelled time is t: ln y = ln(time) + m + spread *
(ln t - m), m the model's median of ln t. Both factors are drawn toward 1, the profile as it is:

    ln(time) ~ normal(0, 0.35), ln(spread) ~ normal(0, 0.25)    (assumed; 80 % within 1.57, 1.38)

The distribution of ln t is that of the modelled searchers, smoothed by a logistic kernel, with 3 %
of a wide normal mixed in: a leg that went wrong for a reason of its own must not carry the fit. A
leg that was broken off after c says only that y > c. The posterior is summed on a grid.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from blindfield.model.errors import NotReady
from blindfield.physics.arrays import Floats
from blindfield.searcher.legs import Pace
from blindfield.searcher.par import Band, Centiles, Par, par_of
from blindfield.searcher.values import Problem

if TYPE_CHECKING:
    from blindfield.searcher.cache import ParCache
    from blindfield.searcher.profiles import Profile

LEAST_LEGS = 3
LEGS_FOR_SPREAD = 8  # finished ones; below, the spread stays the profile's
PRIOR_LN_TIME, PRIOR_LN_SPREAD = 0.35, 0.25
_OUTLIERS, _OUTLIERS_SD = 0.03, 1.5
_LN_TIME = np.linspace(-math.log(5), math.log(5), 201)
_LN_SPREAD = np.linspace(-0.9, 0.9, 37)
_TABLE = np.linspace(-8.0, 8.0, 1281)
_LEAST_SD = 0.05


@dataclass(frozen=True)
class Observed:
    """One leg of a real run on `problem`. `leg` 1: from the start to the first strike, 2: on to
    the second ...; `censored`: broken off after `seconds`. `label` is for the table.

    Raises ValueError where the problem has no such leg or the time is not positive.
    """

    problem: Problem
    leg: int
    seconds: float
    censored: bool = False
    label: str = ""

    def __post_init__(self) -> None:
        if not 1 <= self.leg <= len(self.problem.sources):
            raise ValueError(f"this problem has no leg {self.leg}")
        if not 0 < self.seconds < math.inf:
            raise ValueError(f"a leg lasts some seconds, not {self.seconds}")


@dataclass(frozen=True)
class Beside:
    """One observed leg beside the model: `faster` is the share of modelled searchers who needed
    less; for a leg that was broken off, who had done it by then."""

    observed: Observed
    model: Band
    faster: float


@dataclass(frozen=True)
class Refit:
    """`pace`: the best estimate; `time_low`, `time_high`: 95 % of the posterior of its time.

    `spread_fitted`: whether there were enough finished legs to judge the spread. `rows`: the
    table of model against people, by the profile as it was before.
    """

    profile: str
    pace: Pace
    time_low: float
    time_high: float
    spread_fitted: bool
    rows: tuple[Beside, ...]


def refit(
    observed: Sequence[Observed],
    profile: Profile,
    *,
    count: int = 500,
    seed: int = 1,
    cache: ParCache | None = None,
) -> Refit:
    """`fit` against the pars of `profile` on every problem observed.

    Raises NotReady with fewer than 3 legs.
    """
    _enough(observed)
    problems = dict.fromkeys(one.problem for one in observed)
    pars = {
        problem: par_of(problem, profile, count=count, seed=seed, cache=cache)
        for problem in problems
    }
    return fit(observed, pars)


def fit(observed: Sequence[Observed], pars: Mapping[Problem, Par]) -> Refit:
    """The pace of whoever walked these legs, against the `pars` of one profile on their problems.

    Raises NotReady with fewer than 3 legs, KeyError for a problem without a par.
    """
    _enough(observed)
    finished = sum(not one.censored for one in observed)
    ln_spread = _LN_SPREAD if finished >= LEGS_FOR_SPREAD else np.zeros(1)
    log_posterior = (
        -0.5 * (_LN_TIME[:, None] / PRIOR_LN_TIME) ** 2
        - 0.5 * (ln_spread[None, :] / PRIOR_LN_SPREAD) ** 2
    )
    for one in observed:
        log_posterior = log_posterior + _log_likelihood(
            one, pars[one.problem].leg_centiles, np.exp(ln_spread)
        )
    weights = np.exp(log_posterior - log_posterior.max())
    weights /= weights.sum()
    of_time, of_spread = weights.sum(axis=1), weights.sum(axis=0)
    low, high = np.interp((0.025, 0.975), np.cumsum(of_time), _LN_TIME)
    return Refit(
        profile=next(iter(pars.values())).profile,
        pace=Pace(math.exp(of_time @ _LN_TIME), math.exp(of_spread @ ln_spread)),
        time_low=math.exp(low),
        time_high=math.exp(high),
        spread_fitted=len(ln_spread) > 1,
        rows=tuple(_beside(one, pars[one.problem]) for one in observed),
    )


def _enough(observed: Sequence[Observed]) -> None:
    if len(observed) < LEAST_LEGS:
        raise NotReady(
            f"{len(observed)} of the {LEAST_LEGS} legs that it takes to tell a pace are in the "
            "logbook.",
            remedy="Make more runs, or choose another profile.",
        )


def _beside(one: Observed, par: Par) -> Beside:
    return Beside(one, par.legs[one.leg - 1], par.faster(one.seconds, one.leg))


def _log_likelihood(one: Observed, legs: Sequence[Centiles], spread: Floats) -> Floats:
    """(times, spreads): of one leg, on the grid. Whoever walked a leg had ended the one before."""
    model = _smoothed(legs[one.leg - 1])
    begun = len(legs[0]) if one.leg == 1 else _reached(legs[one.leg - 2])
    if model is None or not begun:  # nobody gets there by the model: no measure of a pace
        return np.zeros((len(_LN_TIME), len(spread)))
    share = min(1.0, _reached(legs[one.leg - 1]) / begun)
    residual = (math.log(one.seconds) - _LN_TIME[:, None] - model.ln_median) / spread[None, :]
    if one.censored:
        return np.log(1 - share * np.interp(residual, _TABLE, model.reached) * (1 - 1e-6))
    density = np.interp(residual, _TABLE, model.density)
    logarithm: Floats = np.log(share * density / spread[None, :])
    return logarithm


def _reached(centiles: Centiles) -> int:
    return sum(seconds is not None for seconds in centiles)


class _Smooth(NamedTuple):
    """Of ln t about its median, on `_TABLE`, among those who ended the leg."""

    ln_median: float
    density: Floats
    reached: Floats


@lru_cache(maxsize=256)
def _smoothed(centiles: Centiles) -> _Smooth | None:
    """None where nobody ended the leg. The kernel's width is by Silverman's rule, from memory."""
    ended = np.array([seconds for seconds in centiles if seconds is not None])
    if not ended.size:
        return None
    ln_t = np.log(np.maximum(ended, 1e-3))
    median = float(np.median(ln_t))
    quartiles = np.percentile(ln_t, (25, 75))
    deviation = max(_LEAST_SD, min(ln_t.std(), (quartiles[1] - quartiles[0]) / 1.349))
    scale = 0.9 * deviation * len(ln_t) ** -0.2 * math.sqrt(3) / math.pi
    reached = 0.5 * (1 + np.tanh((_TABLE[:, None] - (ln_t - median)[None, :]) / scale / 2))
    density = (reached * (1 - reached)).mean(axis=1) / scale
    wide = np.exp(-0.5 * (_TABLE / _OUTLIERS_SD) ** 2) / (_OUTLIERS_SD * math.sqrt(2 * math.pi))
    far = np.array([0.5 * (1 + math.erf(z / _OUTLIERS_SD / math.sqrt(2))) for z in _TABLE])
    return _Smooth(
        median,
        (1 - _OUTLIERS) * density + _OUTLIERS * wide,
        (1 - _OUTLIERS) * reached.mean(axis=1) + _OUTLIERS * far,
    )
