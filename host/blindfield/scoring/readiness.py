"""How likely the next attempt at a fresh scenario of a standard is to pass.

The model of the k-th run's time T, on a problem of kind c, against the limit L:

    ln(T / L) = a + b (ln(min(k, end) + before) - ln(1 + before)) + effect_c + s e,   e logistic

a power law that may have begun before the logbook did (`before`) and may have ended (`end`): each
of `SHAPES` is fitted and weighs by its evidence. A run that did not pass and has no time of its
own says that T > max(L, when it ended): stopped is no pass. Beside the time, a run may fail for a
reason of its own (a step missed, a rule broken); how often is learnt from those that did. All
priors are ours. How well this is calibrated on invented learners who follow other laws:
`tests/benchmarks/readiness.py`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from statistics import NormalDist

import numpy as np

from blindfield.physics.arrays import Floats
from blindfield.scoring.attempts import LEAST_COUNTED
from blindfield.scoring.regression import Posterior, Prior, fit

LATEST = 200  # older runs say nothing of the next one
SHAPES: tuple[tuple[float, float], ...] = ((0, math.inf), (0, 8), (0, 16), (10, math.inf))
"""(runs before the first one, the run after which nothing more is learnt)."""
FIRST = (0.2, 0.6)  # ln(T / L) of the first run: mean and standard deviation
EXPONENT = (-0.2, 0.2)
KIND_SD = 0.2  # of ln T between kinds
SCALE_SHAPE, SCALE = 2.0, 0.14  # of e: about 0.25 in ln T
FAILS_OTHERWISE = (0.2, 3.8)  # beta prior
LAPSE = 0.02  # everybody fails now and then for a reason that no run before had
MISFIT_SD = 1.0  # of the logit of the chance: what no such model knows of a person
SHARE = 0.9  # of the interval
_NODES, _S_RANGE = 12, (0.03, 1.2)
_DRAWS = 128


@dataclass(frozen=True)
class Trial:
    """A run that counts: `number` from 1 in the order made, `seconds` of the whole or None where it
    was cut, then `cut_s` says when it ended; `passed` as the standard says."""

    number: int
    kind: str
    seconds: float | None
    cut_s: float
    passed: bool


@dataclass(frozen=True)
class Readiness:
    """`chance` of passing a fresh scenario, every kind as likely; 90 % of what is believed of that
    chance lies from `low` to `high`. `by_kind` likewise. `trials` it rests on, `cut` of them."""

    chance: float
    low: float
    high: float
    by_kind: dict[str, float]
    trials: int
    cut: int


def readiness(
    trials: Sequence[Trial],
    limit_s: float,
    kinds: Sequence[str] = (),
    *,
    left_s: Sequence[float] = (),
    least: int = LEAST_COUNTED,
) -> Readiness | None:
    """None below `least` trials. `kinds`: those of a fresh scenario; empty: those of the trials.

    `left_s`: what may be left of the limit, each as likely (what digging takes is not known
    beforehand); empty: the limit itself. Below zero nobody is in time.
    """
    if len(trials) < least:
        return None
    asked = tuple(dict.fromkeys(kinds or (one.kind for one in trials)))
    ln_left = [math.log(max(one, 1e-3) / limit_s) for one in left_s] or [0.0]
    believed = _Belief.of(trials[-LATEST:], limit_s, asked, np.array(ln_left))
    timely = (1.0 - LAPSE) * (1.0 - _fails_otherwise(trials, limit_s))
    chances = timely * _widened(believed.draws.mean(axis=1))
    low, high = _quantiles(chances, believed.weight, ((1 - SHARE) / 2, (1 + SHARE) / 2))
    by_kind = timely * believed.by_kind
    chance = float(by_kind.mean())
    return Readiness(
        chance=chance,
        low=min(low, chance),
        high=max(high, chance),
        by_kind={kind: float(one) for kind, one in zip(asked, by_kind, strict=True)},
        trials=len(trials),
        cut=sum(one.seconds is None for one in trials),
    )


def _fails_otherwise(trials: Sequence[Trial], limit_s: float) -> float:
    """Share of runs that fail though their time was within the limit."""
    within = [one for one in trials if one.seconds is not None and one.seconds <= limit_s]
    failed = sum(not one.passed for one in within)
    before, beside = FAILS_OTHERWISE
    return (failed + before) / (len(within) + before + beside)


def _widened(chances: Floats) -> Floats:
    """The draws spread by what the model leaves out."""
    even = np.resize(_even(), chances.shape)
    bounded = np.clip(chances, 1e-6, 1 - 1e-6)
    return _within(-(np.log(bounded / (1 - bounded)) + MISFIT_SD * even))


@dataclass(frozen=True)
class _Belief:
    """`draws`: (n, kinds) chances of being in time, each with its `weight`; `by_kind`: their means,
    (kinds,), without the noise of drawing."""

    draws: Floats
    weight: Floats
    by_kind: Floats

    @classmethod
    def of(
        cls, trials: Sequence[Trial], limit_s: float, asked: tuple[str, ...], ln_left: Floats
    ) -> _Belief:
        kinds = tuple(dict.fromkeys((*asked, *(one.kind for one in trials))))
        fitted = [_fit(trials, limit_s, kinds, shape) for shape in SHAPES]
        evidence = np.array([one.log_evidence for one in fitted])
        share = np.exp(evidence - evidence.max())
        share /= share.sum()
        later = trials[-1].number + 1
        draws, weights, means = [], [], []
        for one, shape, part in zip(fitted, SHAPES, share, strict=True):
            rows = _rows([later] * len(asked), asked, kinds, shape)
            drawn = _chances(one, rows, ln_left)
            draws.append(drawn.reshape(-1, len(asked)))
            weights.append(np.repeat(part * one.weight / _DRAWS, _DRAWS))
            means.append(part * np.einsum("s,sc->c", one.weight, _mean_chances(one, rows, ln_left)))
        return cls(np.concatenate(draws), np.concatenate(weights), np.sum(means, axis=0))


def _fit(
    trials: Sequence[Trial], limit_s: float, kinds: Sequence[str], shape: tuple[float, float]
) -> Posterior:
    cut = np.array([one.seconds is None for one in trials])
    known_s = [max(one.cut_s, limit_s) if one.seconds is None else one.seconds for one in trials]
    rows = _rows([one.number for one in trials], [one.kind for one in trials], kinds, shape)
    return fit(
        rows,
        np.log(np.array(known_s) / limit_s),
        cut,
        _prior(len(kinds)),
        noise="logistic",
        nodes=_NODES,
        s_range=_S_RANGE,
    )


@cache
def _prior(kinds: int) -> Prior:
    deviations = np.array([FIRST[1], EXPONENT[1], *([KIND_SD] * kinds)])
    mean = np.array([FIRST[0], EXPONENT[0], *([0.0] * kinds)])
    return Prior(mean, np.diag(deviations**-2), SCALE_SHAPE, SCALE_SHAPE * SCALE**2, relative=False)


def _rows(
    numbers: Sequence[int], of: Sequence[str], kinds: Sequence[str], shape: tuple[float, float]
) -> Floats:
    """The design: (n, 2 + kinds)."""
    before, end = shape
    practice = np.log(np.minimum(np.array(numbers, float), end) + before) - math.log(1 + before)
    place = {kind: column for column, kind in enumerate(kinds)}
    rows = np.zeros((len(numbers), 2 + len(kinds)))
    rows[:, 0], rows[:, 1] = 1.0, practice
    rows[np.arange(len(numbers)), [2 + place[kind] for kind in of]] = 1.0
    return rows


def _mean_chances(one: Posterior, rows: Floats, ln_left: Floats) -> Floats:
    """(S, rows): P(T <= L), the uncertainty of beta integrated by Gauss-Hermite quadrature."""
    places, shares = _hermite()
    middle = one.mean @ rows.T
    deviation = np.sqrt(np.einsum("cp,spq,cq->sc", rows, one.covariance, rows))
    ln_t = middle[..., None] + deviation[..., None] * places
    chances: Floats = _in_time(ln_t, one.scale[:, None, None], ln_left) @ shares
    return chances


def _chances(one: Posterior, rows: Floats, ln_left: Floats) -> Floats:
    """(S, draws, rows): P(T <= L) for each of an even spread of beta."""
    root = np.linalg.cholesky(one.covariance)
    beta = one.mean[:, None, :] + np.einsum("spq,dq->sdp", root, _spread(rows.shape[1]))
    return _in_time(beta @ rows.T, one.scale[:, None, None], ln_left)


def _in_time(ln_t: Floats, scale: Floats, ln_left: Floats) -> Floats:
    """Averaged over what may be left of the limit."""
    total = np.zeros(np.broadcast_shapes(ln_t.shape, scale.shape))
    for one in ln_left:
        total += _within((ln_t - one) / scale)
    return total / len(ln_left)


def _within(z: Floats) -> Floats:
    share: Floats = 0.5 * (1 - np.tanh(z / 2))
    return share


@cache
def _hermite() -> tuple[Floats, Floats]:
    places, shares = np.polynomial.hermite_e.hermegauss(15)
    return places, shares / shares.sum()


@cache
def _even() -> Floats:
    """(draws,): the standard normal's quantiles, in no order."""
    shares = (np.arange(_DRAWS) + 0.5) / _DRAWS
    quantiles = np.array([NormalDist().inv_cdf(float(share)) for share in shares])
    shuffled: Floats = np.random.default_rng(0).permutation(quantiles)
    return shuffled


@cache
def _spread(terms: int) -> Floats:
    """(draws, terms): standard normal, in opposite pairs, always the same."""
    half = np.random.default_rng(terms).standard_normal((_DRAWS // 2, terms))
    return np.concatenate([half, -half])


def _quantiles(values: Floats, weight: Floats, shares: Sequence[float]) -> tuple[float, ...]:
    order = np.argsort(values)
    reached = np.cumsum(weight[order])
    return tuple(float(np.interp(share * reached[-1], reached, values[order])) for share in shares)
