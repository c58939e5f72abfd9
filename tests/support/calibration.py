"""Readiness held against what invented learners then do, beside two simpler guesses."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from blindfield.physics.arrays import Floats, Ints
from blindfield.scoring.attempts import LEAST_COUNTED
from blindfield.scoring.readiness import Trial, readiness
from support.learners import Learner, Made

HELD_OUT = 20
BINS = 10
WELL_FILLED = 0.05  # of all runs: a tenth with fewer learners says little
MOST_RUNS = 40
SHOWN = 0.005


@dataclass(frozen=True)
class Forecasts:
    """For each learner: passes among the held-out runs, the true share from many more of them, and
    what each way of guessing said before. `low`, `high`: the interval of readiness."""

    passes: Ints
    true: Floats
    guesses: Mapping[str, Floats]
    low: Floats
    high: Floats

    @property
    def covered(self) -> float:
        """How often the interval of readiness holds the true share, to the hundredth shown."""
        inside = (self.low - SHOWN <= self.true) & (self.true <= self.high + SHOWN)
        return float(inside.mean())


def forecast(seeds: Sequence[int], *, true_runs: int = 0, **population: Any) -> Forecasts:
    """`true_runs`: how many runs the true share is taken from; 0: the held-out ones."""
    rows = [_one(seed, true_runs, population) for seed in seeds]
    passes, true, ready, low, high, five, line = (
        np.array(column) for column in zip(*rows, strict=True)
    )
    guesses = {"readiness": ready, "last five": five, "line, cut runs dropped": line}
    return Forecasts(passes, true, guesses, low, high)


def _one(seed: int, true_runs: int, population: Mapping[str, Any]) -> tuple[float, ...]:
    rng = np.random.default_rng((seed, 7))
    learner = Learner(seed, kinds=int(rng.integers(1, 6)), **population)
    trials = list(trials_of(learner.practise(int(rng.integers(LEAST_COUNTED, MOST_RUNS + 1)))))
    while len(trials) < LEAST_COUNTED:
        before = learner.practised
        trials += trials_of(learner.practise(1), before)
    kinds = [str(kind) for kind in range(learner.kinds)]
    said = readiness(trials, learner.limit_s, kinds)
    assert said is not None
    held = learner.held_out(max(HELD_OUT, true_runs))
    met = [one.outcome == "met" for one in held]
    five = sum(one.passed for one in trials[-5:]) / 5
    line = line_through(trials, learner.limit_s, learner.practised + 1)
    return sum(met[:HELD_OUT]), sum(met) / len(met), said.chance, said.low, said.high, five, line


def trials_of(made: Sequence[Made], before: int = 0) -> Iterator[Trial]:
    """As the logbook's runs become trials: interrupted ones are left out, and are counted."""
    for number, one in enumerate(made, before + 1):
        if one.outcome != "interrupted":
            passed = one.outcome == "met"
            yield Trial(number, str(one.kind), one.whole_s, one.cut_s, passed)


def line_through(trials: Sequence[Trial], limit_s: float, number: int) -> float:
    """P(T <= limit) by least squares of ln T on ln k through the runs that were finished."""
    from scipy.stats import t

    done = [(one.number, one.seconds) for one in trials if one.seconds is not None]
    if len(done) < 4:
        return sum(seconds <= limit_s for _, seconds in done) / max(1, len(done))
    design = np.array([[1.0, math.log(k)] for k, _ in done])
    y = np.log([seconds for _, seconds in done])
    beta, *_ = np.linalg.lstsq(design, y, rcond=None)
    freedom = len(done) - 2
    variance = float(((y - design @ beta) ** 2).sum()) / freedom
    row = np.array([1.0, math.log(number)])
    error = math.sqrt(variance * (1 + row @ np.linalg.inv(design.T @ design) @ row))
    return float(t.cdf((math.log(limit_s) - row @ beta) / max(error, 1e-9), freedom))


def brier(guess: Floats, passes: Ints) -> float:
    """Mean squared difference over all held-out runs."""
    share = passes / HELD_OUT
    return float((share * (1 - guess) ** 2 + (1 - share) * guess**2).mean())


def gaps(guess: Floats, passes: Ints) -> list[tuple[float, float]]:
    """For each tenth of the guesses that holds any: (its share of all, guessed less happened)."""
    place = np.minimum((guess * BINS).astype(int), BINS - 1)
    rows = []
    for tenth in range(BINS):
        here = place == tenth
        if here.any():
            gap = guess[here].mean() - passes[here].mean() / HELD_OUT
            rows.append((float(here.mean()), float(gap)))
    return rows


def calibration_error(guess: Floats, passes: Ints) -> float:
    """Expected calibration error: mean distance between said and happened over ten tenths."""
    return sum(share * abs(gap) for share, gap in gaps(guess, passes))


def worst_gap(guess: Floats, passes: Ints) -> float:
    """Of the tenths that hold at least 5 % of the runs."""
    return max(abs(gap) for share, gap in gaps(guess, passes) if share >= WELL_FILLED)


def bootstrap(
    guess: Floats, passes: Ints, *, draws: int = 1000, seed: int = 1
) -> tuple[float, float]:
    """95 % interval of the calibration error over learners drawn again."""
    rng = np.random.default_rng(seed)
    errors = []
    for _ in range(draws):
        drawn = rng.integers(len(guess), size=len(guess))
        errors.append(calibration_error(guess[drawn], passes[drawn]))
    low, high = np.quantile(errors, (0.025, 0.975))
    return float(low), float(high)
