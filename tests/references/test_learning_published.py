"""The statistics against independent libraries and the worked figures of the reference sheet."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from blindfield.physics.arrays import Bools, Floats
from blindfield.scoring.attempts import Timed
from blindfield.scoring.counts import Count
from blindfield.scoring.learning import PRIOR, Numbered, curve_of
from blindfield.scoring.regression import fit, flat_prior, log_likelihood

WORKED_S = (612.0, 540.0, 475.0, 498.0, 430.0, 412.0, 401.0, 388.0)
NEXT, LIMIT_S = 9, 400.0
CENSORED = json.loads(Path(__file__).with_name("censored.json").read_text())


def design_of(count: int) -> Floats:
    return np.array([[1.0, math.log(number)] for number in range(1, count + 1)])


def none_cut(count: int) -> Bools:
    return np.zeros(count, dtype=bool)


def worked() -> list[Numbered]:
    return [Numbered(number, Timed(seconds)) for number, seconds in enumerate(WORKED_S, 1)]


def test_statsmodels_gives_the_printed_digits_of_the_worked_curve() -> None:
    """The sheet's figures and statsmodels' agree, so that the next test may stand on either."""
    from statsmodels.regression.linear_model import OLS

    made = OLS(np.log(WORKED_S), design_of(8)).fit()
    said = made.get_prediction(np.array([[1.0, math.log(NEXT)]]))
    assert made.params == pytest.approx([6.43355364, -0.22126594], abs=5e-9)
    assert math.sqrt(made.scale) == pytest.approx(0.038408115, abs=5e-10)
    assert said.predicted[0] == pytest.approx(5.947382667, abs=5e-10)
    assert said.se_obs[0] == pytest.approx(0.044533129, abs=5e-10)


def test_under_the_flat_prior_the_curve_is_least_squares_in_every_printed_digit() -> None:
    curve = curve_of(worked(), flat_prior(2))
    assert curve is not None
    assert math.log(curve.level) == pytest.approx(6.43355364, abs=5e-9)
    assert curve.exponent == pytest.approx(-0.22126594, abs=5e-9)
    assert math.log(curve.median(NEXT)) == pytest.approx(5.947382667, abs=5e-10)
    assert curve.chance(NEXT, LIMIT_S) == pytest.approx(0.819768616, abs=5e-10)


def test_the_flat_posterior_of_s_is_that_of_least_squares() -> None:
    """E[1 / s^2] under 6 degrees of freedom is one over the unbiased variance."""
    post = fit(design_of(8), np.log(WORKED_S), none_cut(8), flat_prior(2))
    assert float(post.weight @ post.scale**-2) == pytest.approx(0.038408115**-2, rel=1e-7)


def test_the_conjugate_prior_gives_the_printed_chance() -> None:
    curve = curve_of(worked(), PRIOR)
    assert curve is not None
    assert curve.chance(NEXT, LIMIT_S) == pytest.approx(0.662241114, abs=5e-10)


def test_the_conjugate_posterior_is_the_closed_form() -> None:
    """By the textbook formulas, from memory, and scipy's t distribution."""
    from scipy.stats import t

    x, y = design_of(8), np.log(WORKED_S)
    precision = x.T @ x + PRIOR.precision
    mean = np.linalg.solve(precision, x.T @ y + PRIOR.precision @ PRIOR.mean)
    shape = PRIOR.shape + 4
    both = PRIOR.mean @ PRIOR.precision @ PRIOR.mean - mean @ precision @ mean
    rate = PRIOR.rate + 0.5 * (y @ y + both)
    row = np.array([1.0, math.log(NEXT)])
    width = math.sqrt(rate / shape * (1 + row @ np.linalg.solve(precision, row)))
    closed = t.cdf((math.log(LIMIT_S) - row @ mean) / width, 2 * shape)
    curve = curve_of(worked(), PRIOR)
    assert curve is not None
    assert curve.chance(NEXT, LIMIT_S) == pytest.approx(closed, abs=1e-9)


def test_the_wilson_interval_of_7_in_10_is_the_printed_one() -> None:
    from statsmodels.stats.proportion import proportion_confint

    count = Count(7, 10)
    assert (count.low, count.high) == pytest.approx((0.396778, 0.892209), abs=5e-7)
    for met in range(11):
        count = Count(met, 10)
        theirs = proportion_confint(met, 10, method="wilson")
        assert (count.low, count.high) == pytest.approx(theirs, abs=1e-7)


def test_a_censored_regression_by_another_library_is_our_mode() -> None:
    """lifelines' maximum of the likelihood: at its s our mode is its line, the likelihood is the
    same number, and no s beside it is likelier."""
    seconds, cut = np.array(CENSORED["seconds"]), np.array(CENSORED["cut"], dtype=bool)
    x, y = design_of(len(seconds)), np.log(seconds)
    theirs, s = np.array([CENSORED["a"], CENSORED["b"]]), CENSORED["s"]

    def line_at(scale: float) -> Floats:
        return fit(x, y, cut, flat_prior(2), s_range=(scale, scale * (1 + 1e-9)), nodes=1).mean[0]

    assert line_at(s) == pytest.approx(theirs, abs=1e-5)
    ours = log_likelihood(x, y, cut, theirs, s)
    of_seconds = ours - y[~cut].sum()  # theirs is the density of T, ours of ln T
    assert of_seconds == pytest.approx(CENSORED["log_likelihood"], abs=1e-6)
    for beside in (s * 0.99, s * 1.01):
        assert log_likelihood(x, y, cut, line_at(beside), beside) < ours - 1e-4


def test_who_drops_what_was_cut_flatters_the_searcher() -> None:
    seconds, cut = CENSORED["seconds"], CENSORED["cut"]
    runs = [
        Numbered(number, Timed(one, bool(was_cut)))
        for number, (one, was_cut) in enumerate(zip(seconds, cut, strict=True), 1)
    ]
    honest = curve_of(runs)
    flattering = curve_of([one for one in runs if not one.time.cut])
    assert honest is not None
    assert flattering is not None
    assert honest.chance(13, LIMIT_S) < flattering.chance(13, LIMIT_S) - 0.05


def test_scikit_learn_scores_and_bins_as_we_do() -> None:
    from sklearn.calibration import calibration_curve
    from sklearn.metrics import brier_score_loss

    from support.calibration import HELD_OUT, brier, calibration_error

    rng = np.random.default_rng(3)
    guess = rng.random(300)
    passes = rng.binomial(HELD_OUT, np.clip(guess + rng.normal(0, 0.1, 300), 0, 1))
    each = np.concatenate([np.arange(HELD_OUT) < one for one in passes])
    said = np.repeat(guess, HELD_OUT)
    assert brier(guess, passes) == pytest.approx(brier_score_loss(each, said), abs=1e-12)
    happened, mean = calibration_curve(each, said, n_bins=10)
    shares = np.histogram(guess, bins=np.linspace(0, 1, 11))[0] / len(guess)
    theirs = float((shares * np.abs(happened - mean)).sum())
    assert calibration_error(guess, passes) == pytest.approx(theirs, abs=1e-12)
