"""Linear regression of times that may be cut off, by Bayes: pure functions of arrays.

y = X beta + s e, e standard normal or logistic. An observation that was cut off at c says only that
y > c. Given s the posterior of beta is taken as normal about its mode (exact for normal e where
nothing is cut; the posterior is log-concave in any case, so Newton's steps find the mode); ln s is
integrated by Gauss-Legendre quadrature.

The prior: beta ~ normal(mean, precision^-1), times s^2 where it is `relative` (that is conjugate);
s^2 ~ inverse gamma(shape, rate). Zero precision with shape -p/2 and rate 0 is the flat prior under
which the predictive is that of least squares.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np

from blindfield.physics.arrays import Bools, Floats

Noise = Literal["normal", "logistic"]

LN_S_RANGE = (math.log(1e-3), math.log(5.0))
_COARSE = 48
_REACH = (9.0, 18.0)  # standard deviations of ln s, down and up: few observations tail off slowly
_NEWTON_STEPS, _LONGEST_STEP, _LITTLE = 60, 4.0, 1e-6
_NEWTON_DONE = 1e-10
_EXACT_NODES = 96


@dataclass(frozen=True)
class Prior:
    """See the head of this module. `mean`: (p,); `precision`: (p, p)."""

    mean: Floats
    precision: Floats
    shape: float
    rate: float
    relative: bool = True


@dataclass(frozen=True)
class Posterior:
    """A mixture over nodes of ln s, of which each holds a normal distribution of beta.

    `scale`: (S,) s; `weight`: (S,) summing to 1; `mean`: (S, p); `covariance`: (S, p, p).
    `log_evidence`: logarithm of the marginal likelihood, for comparing designs of one data set.
    """

    noise: Noise
    scale: Floats
    weight: Floats
    mean: Floats
    covariance: Floats
    log_evidence: float

    def expected(self) -> tuple[Floats, float]:
        """Posterior means of beta, (p,), and of s."""
        return self.weight @ self.mean, float(self.weight @ self.scale)


def flat_prior(terms: int) -> Prior:
    """Under it the predictive is that of least squares."""
    return Prior(np.zeros(terms), np.zeros((terms, terms)), -terms / 2, 0.0)


def fit(
    design: Floats,
    y: Floats,
    cut: Bools,
    prior: Prior,
    *,
    noise: Noise = "normal",
    nodes: int = _EXACT_NODES,
    s_range: tuple[float, float] | None = None,
) -> Posterior:
    """The posterior given `design` (n, p), `y` (n,) and `cut` (n,): whether y was cut off there.

    `nodes` of s, within `s_range` where that is given (quicker), else where the posterior lies.
    Raises ValueError where the posterior is improper (too few observations for the prior).
    """
    if (~cut).sum() + 2 * prior.shape <= 0:
        raise ValueError("the posterior is improper: too few observations for this prior")
    places, shares = _legendre(nodes)
    if s_range is None:
        coarse = np.linspace(*LN_S_RANGE, _COARSE)
        low, high = _where(coarse, _given_scale(design, y, cut, prior, np.exp(coarse), noise)[2])
    else:
        low, high = (math.log(one) for one in s_range)
    scale = np.exp(low + (high - low) * (places + 1) / 2)
    mean, covariance, log_density = _given_scale(design, y, cut, prior, scale, noise)
    top = float(log_density.max())
    mass = shares * np.exp(log_density - top) * (high - low) / 2
    total = float(mass.sum())
    return Posterior(noise, scale, mass / total, mean, covariance, top + math.log(total))


def log_likelihood(
    design: Floats, y: Floats, cut: Bools, beta: Floats, scale: float, noise: Noise = "normal"
) -> float:
    """Of all observations at one value of the parameters."""
    z = (y - design @ beta) / scale
    return float(_log_terms(z, cut, noise).sum() - (~cut).sum() * math.log(scale))


def _given_scale(
    design: Floats, y: Floats, cut: Bools, prior: Prior, scale: Floats, noise: Noise
) -> tuple[Floats, Floats, Floats]:
    """For each s: mode (S, p), covariance (S, p, p), log density of ln s up to a constant (S,)."""
    square = scale[:, None, None] ** 2
    penalty = prior.precision[None] * (1.0 if prior.relative else square)
    mean = _newton(design, y, cut, prior.mean, penalty, scale, noise)
    z = (y[None] - mean @ design.T) / scale[:, None]
    _, weight = _slopes(z, cut, noise)
    information = np.einsum("sn,np,nq->spq", weight, design, design) + penalty
    covariance = np.linalg.inv(information) * square
    away = mean - prior.mean
    log_prior = -0.5 * np.einsum("sp,spq,sq->s", away, penalty, away) / scale**2
    terms = design.shape[1]
    log_det = np.linalg.slogdet(information)[1] - 2 * terms * np.log(scale)
    likelihood = _log_terms(z, cut, noise).sum(axis=1) - (~cut).sum() * np.log(scale)
    scaled = terms * np.log(scale) if prior.relative else 0.0  # |precision / s^2|^(1/2)
    log_density = (
        likelihood
        + log_prior
        - 0.5 * log_det
        - scaled
        + _log_det(prior.precision)
        - 2 * prior.shape * np.log(scale)
        - prior.rate / scale**2
    )
    return mean, covariance, log_density


def _newton(
    design: Floats,
    y: Floats,
    cut: Bools,
    centre: Floats,
    penalty: Floats,
    scale: Floats,
    noise: Noise,
) -> Floats:
    """(S, p): the mode of beta for each s. Starts from what was not cut; no step leads further than
    `_LONGEST_STEP` s, or one far out would lead astray."""
    held = np.where(cut, _LITTLE, 1.0)[:, None] * design
    gram = held.T @ design + penalty
    right = held.T @ y + penalty @ centre
    first = np.linalg.solve(gram, right[..., None])[..., 0]
    beta: Floats = np.broadcast_to(first, (len(scale), len(centre)))
    if noise == "normal" and not cut.any():
        return beta
    for _ in range(_NEWTON_STEPS):
        z = (y[None] - beta @ design.T) / scale[:, None]
        slope, weight = _slopes(z, cut, noise)
        information = np.einsum("sn,np,nq->spq", weight, design, design) + penalty
        pull = scale[:, None] * (slope @ design) - np.einsum("spq,sq->sp", penalty, beta - centre)
        step = np.linalg.solve(information, pull[..., None])[..., 0]
        longest = np.abs(step @ design.T).max(axis=1) / scale
        beta = beta + step * np.minimum(1.0, _LONGEST_STEP / np.maximum(longest, 1e-300))[:, None]
        if float(np.abs(step).max()) < _NEWTON_DONE:
            break
    return beta


def _slopes(z: Floats, cut: Bools, noise: Noise) -> tuple[Floats, Floats]:
    """Minus the first and second derivative of the log terms by z."""
    if noise == "logistic":
        half = np.tanh(z / 2)
        share = (1 + half) / 2
        slope = np.where(cut, share, half)
        weight = np.where(cut, share * (1 - share), (1 - half**2) / 2)
        return slope, weight
    if not cut.any():
        return z, np.ones_like(z)
    from scipy.special import log_ndtr

    hazard = np.exp(-0.5 * z * z - 0.5 * math.log(2 * math.pi) - log_ndtr(-z))
    slope = np.where(cut, hazard, z)
    return slope, np.where(cut, hazard * (hazard - z), 1.0)


def _log_terms(z: Floats, cut: Bools, noise: Noise) -> Floats:
    """Log density of what was seen, log of the share beyond of what was cut."""
    terms: Floats
    if noise == "logistic":
        beyond = -np.logaddexp(0.0, z)
        terms = np.where(cut, beyond, z + 2 * beyond)
        return terms
    seen = -0.5 * z * z - 0.5 * math.log(2 * math.pi)
    if not cut.any():
        return seen
    from scipy.special import log_ndtr

    terms = np.where(cut, log_ndtr(-z), seen)
    return terms


def _where(places: Floats, log_density: Floats) -> tuple[float, float]:
    """The range that holds all of a density known on an even grid."""
    mass = np.exp(log_density - log_density.max())
    mass /= mass.sum()
    centre = float(mass @ places)
    deviation = math.sqrt(float(mass @ (places - centre) ** 2))
    deviation = max(deviation, 0.5 * float(places[1] - places[0]))
    low, high = centre - _REACH[0] * deviation, centre + _REACH[1] * deviation
    return max(low, float(places[0])), min(high, float(places[-1]))


def _log_det(precision: Floats) -> float:
    sign, value = np.linalg.slogdet(precision)
    return 0.5 * float(value) if sign > 0 else 0.0


@cache
def _legendre(nodes: int) -> tuple[Floats, Floats]:
    places, shares = np.polynomial.legendre.leggauss(nodes)
    return places, shares
