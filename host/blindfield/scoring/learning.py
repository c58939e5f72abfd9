"""The learning curve: ln T = a + b ln k, T the seconds of the k-th run, with what was cut as cut.

The power law of practice (Newell and Rosenbloom 1981, from memory). The prior is conjugate (normal
and inverse gamma); where a run was cut at c, its term is the share beyond c, and the posterior is
computed by `regression`. A model that drops such runs flatters the searcher.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from blindfield.physics.arrays import Floats
from blindfield.scoring.attempts import Timed
from blindfield.scoring.regression import Posterior, Prior, fit

LEAST_RUNS = 3  # fewer draw no line
USUAL_S = 600.0
_NO_WEIGHT, _REACH = 1e-12, 8.0

PRIOR = Prior(np.array([math.log(USUAL_S), -0.2]), np.diag([1 / 25, 1 / 4]), 2.0, 0.04)
"""Of times in seconds: 10 min at first, 13 % less with each doubling, both very loosely; ours."""
PRIOR_OF_RATIO = Prior(np.array([0.0, -0.2]), np.diag([1 / 25, 1 / 4]), 2.0, 0.04)
"""The same of times over par, which are about 1."""


@dataclass(frozen=True)
class Numbered:
    """The `number`-th run of its sort, counted from 1 and with those that are not given here."""

    number: int
    time: Timed


@dataclass(frozen=True)
class Curve:
    """`level`: exp(a), the usual time of the first run; `exponent`: b; `spread`: s of ln T.

    `seen` and `cut`: how many runs it rests on, of each sort.
    """

    posterior: Posterior
    level: float
    exponent: float
    spread: float
    seen: int
    cut: int

    def median(self, number: int) -> float:
        """The usual time of the `number`-th run."""
        return math.exp(float(self.posterior.weight @ (self.posterior.mean @ _row(number))))

    def chance(self, number: int, limit: float) -> float:
        """Probability that the `number`-th run takes no longer than `limit`."""
        from scipy.special import ndtr

        middle, deviation = self._next(number)
        shares = ndtr((math.log(limit) - middle) / deviation)
        return float(self.posterior.weight @ shares)

    def range(self, number: int, share: float = 0.8) -> tuple[float, float]:
        """Within which the time of the `number`-th run lies with probability `share`."""
        from scipy.optimize import brentq

        middle, deviation = self._next(number)
        held = self.posterior.weight > _NO_WEIGHT
        reach = _REACH * deviation[held]
        low, high = float((middle[held] - reach).min()), float((middle[held] + reach).max())
        below, above = (
            brentq(lambda ln_t, tail=tail: self.chance(number, math.exp(ln_t)) - tail, low, high)
            for tail in ((1 - share) / 2, (1 + share) / 2)
        )
        return math.exp(below), math.exp(above)

    @property
    def doubling(self) -> float:
        """What the time is multiplied by with each doubling of the runs made."""
        return math.pow(2.0, self.exponent)

    def _next(self, number: int) -> tuple[Floats, Floats]:
        """Mean and standard deviation of ln T for each node."""
        row, post = _row(number), self.posterior
        variance = np.einsum("p,spq,q->s", row, post.covariance, row)
        return post.mean @ row, np.sqrt(post.scale**2 + variance)


def curve_of(runs: Sequence[Numbered], prior: Prior = PRIOR) -> Curve | None:
    """The curve through these runs; None with fewer than 3 of them or when none was finished."""
    finished = sum(not one.time.cut for one in runs)
    if len(runs) < LEAST_RUNS or not finished:
        return None
    design = np.stack([_row(one.number) for one in runs])
    seconds = np.array([one.time.seconds for one in runs])
    cut = np.array([one.time.cut for one in runs])
    posterior = fit(design, np.log(seconds), cut, prior)
    (a, b), spread = posterior.expected()
    return Curve(posterior, math.exp(a), float(b), spread, finished, len(runs) - finished)


def _row(number: int) -> Floats:
    return np.array([1.0, math.log(number)])
