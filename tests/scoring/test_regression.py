"""The posterior against sums over a dense grid, its limits, and what must not matter."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from blindfield.physics.arrays import Bools, Floats
from blindfield.scoring.regression import Noise, Posterior, Prior, fit, flat_prior, log_likelihood

PRIOR = Prior(np.array([0.1, -0.2]), np.diag([4.0, 25.0]), 2.0, 0.08)
LOOSE = Prior(PRIOR.mean, PRIOR.precision, 2.0, 0.08, relative=False)
X = np.array([[1.0, math.log(number)] for number in range(1, 10)])
Y = np.array([0.3, 0.1, 0.2, -0.1, 0.0, -0.2, -0.15, -0.3, -0.1])
CUT = np.array([0, 0, 1, 0, 0, 1, 0, 0, 0], dtype=bool)
NO_CUT = np.zeros(9, dtype=bool)


def on_a_grid(cut: Bools, prior: Prior, noise: Noise) -> tuple[Floats, float]:
    """Posterior means of beta and log evidence, by brute force over (a, b, ln s)."""
    a, b = np.linspace(-0.9, 1.3, 67), np.linspace(-0.9, 0.6, 61)
    ln_s = np.linspace(math.log(0.05), math.log(1.5), 41)
    beta = np.stack(np.meshgrid(a, b, indexing="ij"), axis=-1).reshape(-1, 2)
    log = np.stack([log_joint(beta, math.exp(s), cut, prior, noise) for s in ln_s], axis=-1)
    mass = np.exp(log - log.max())
    cell = (a[1] - a[0]) * (b[1] - b[0]) * (ln_s[1] - ln_s[0])
    evidence = math.log(mass.sum() * cell) + log.max()
    return mass.sum(axis=1) @ beta / mass.sum(), evidence


def log_joint(beta: Floats, s: float, cut: Bools, prior: Prior, noise: Noise) -> Floats:
    """(n,) for (n, 2) beta, by scipy's distributions; the inverse gamma without its constant."""
    family = stats.norm if noise == "normal" else stats.logistic
    middle = beta @ X.T
    seen = family.logpdf(Y[~cut], middle[:, ~cut], s).sum(axis=1)
    beyond = family.logsf(Y[cut], middle[:, cut], s).sum(axis=1)
    covariance = np.linalg.inv(prior.precision) * (s**2 if prior.relative else 1.0)
    log_beta = stats.multivariate_normal(prior.mean, covariance).logpdf(beta)
    return seen + beyond + log_beta - 2 * prior.shape * math.log(s) - prior.rate / s**2


@pytest.mark.parametrize(
    ("cut", "prior", "noise", "near"),
    [
        (NO_CUT, PRIOR, "normal", 2e-4),
        (CUT, PRIOR, "normal", 4e-3),
        (CUT, LOOSE, "logistic", 6e-3),
    ],
)
def test_the_posterior_is_what_a_dense_grid_gives(
    cut: Bools, prior: Prior, noise: Noise, near: float
) -> None:
    mean, evidence = on_a_grid(cut, prior, noise)
    post = fit(X, Y, cut, prior, noise=noise)
    assert post.expected()[0] == pytest.approx(mean, abs=near)
    assert post.log_evidence == pytest.approx(evidence, abs=10 * near)


def test_the_likelihoods_are_scipys() -> None:
    beta, s = np.array([0.1, -0.2]), 0.2
    middle = X @ beta
    for noise, family in (("normal", stats.norm), ("logistic", stats.logistic)):
        seen = family.logpdf(Y, middle, s)[~CUT].sum()
        beyond = family.logsf(Y, middle, s)[CUT].sum()
        assert log_likelihood(X, Y, CUT, beta, s, noise) == pytest.approx(seen + beyond, abs=1e-9)


def middle_of(post: Posterior) -> float:
    return float(post.expected()[0] @ np.array([1.0, math.log(10)]))


@pytest.mark.parametrize("noise", ["normal", "logistic"])
def test_a_run_cut_later_or_cut_at_all_makes_the_next_one_longer(noise: Noise) -> None:
    ended = middle_of(fit(X, Y, NO_CUT, LOOSE, noise=noise))
    cut = middle_of(fit(X, Y, CUT, LOOSE, noise=noise))
    later = Y + np.where(CUT, 0.3, 0.0)
    assert ended < cut < middle_of(fit(X, later, CUT, LOOSE, noise=noise))


@pytest.mark.parametrize("noise", ["normal", "logistic"])
def test_a_run_cut_at_once_says_nothing(noise: Noise) -> None:
    early = np.append(Y, -30.0)
    wide = np.vstack([X, [1.0, math.log(10)]])
    cut = np.append(NO_CUT, True)
    with_it = fit(wide, early, cut, LOOSE, noise=noise)
    assert middle_of(with_it) == pytest.approx(middle_of(fit(X, Y, NO_CUT, LOOSE, noise=noise)))


@pytest.mark.parametrize("noise", ["normal", "logistic"])
def test_the_order_of_the_runs_does_not_matter(noise: Noise) -> None:
    order = np.array([4, 0, 8, 2, 6, 1, 7, 3, 5])
    there = fit(X, Y, CUT, LOOSE, noise=noise)
    here = fit(X[order], Y[order], CUT[order], LOOSE, noise=noise)
    assert here.log_evidence == pytest.approx(there.log_evidence, abs=1e-9)


def test_all_cut_and_far_out_is_still_a_posterior() -> None:
    for noise in ("normal", "logistic"):
        post = fit(X, np.full(9, 5.0), np.ones(9, dtype=bool), LOOSE, noise=noise)
        assert np.isfinite(post.mean).all()
        assert (np.linalg.eigvalsh(post.covariance) > 0).all()
        assert middle_of(post) > 0.2  # the prior alone: -0.36


def test_too_few_observations_for_a_flat_prior_are_refused() -> None:
    with pytest.raises(ValueError, match="improper"):
        fit(X[:1], Y[:1], NO_CUT[:1], flat_prior(2))
