"""Readiness: calibrated on learners who follow other laws, and moved the right way by each run."""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np
import pytest

from blindfield.scoring.readiness import Readiness, Trial, readiness
from support.calibration import (
    Forecasts,
    bootstrap,
    brier,
    calibration_error,
    forecast,
    gaps,
    worst_gap,
)

LIMIT_S = 600.0
LEARNERS, FIRST_SEED = 150, 3_000_000


@functools.cache
def forecasts() -> Forecasts:
    return forecast(range(FIRST_SEED, FIRST_SEED + LEARNERS), true_runs=120)


def trials(*seconds: float | None, kind: str = "pair") -> list[Trial]:
    """None: not found within 700 s."""
    return [
        Trial(number, kind, one, one or 700.0, one is not None and one <= LIMIT_S)
        for number, one in enumerate(seconds, 1)
    ]


def said(some: list[Trial], **more: object) -> Readiness:
    made = readiness(some, LIMIT_S, **more)  # type: ignore[arg-type]
    assert made is not None
    return made


MIXED = (640.0, 560.0, None, 520.0, 610.0, 500.0, 540.0, 470.0, 590.0, 480.0)


def test_it_is_calibrated_on_learners_of_other_laws() -> None:
    """The reduced form of `tests/benchmarks/readiness.py`: with so few learners chance alone gives
    an error of about 0.03, so the bounds are wider; one that is off by a tenth still fails."""
    made = forecasts()
    guess = made.guesses["readiness"]
    assert calibration_error(guess, made.passes) < 0.06
    assert bootstrap(guess, made.passes, draws=200)[0] < 0.06
    assert calibration_error(np.clip(guess + 0.1, 0, 1), made.passes) > 0.06
    assert abs(float(guess.mean()) - made.passes.mean() / 20) < 0.03


def test_it_scores_better_than_the_last_five_and_than_a_line_without_cut_runs() -> None:
    made = forecasts()
    scores = {way: brier(guess, made.passes) for way, guess in made.guesses.items()}
    assert min(scores, key=lambda way: scores[way]) == "readiness"
    assert scores["readiness"] < scores["last five"] - 0.005


def test_the_interval_holds_most_of_what_is_true() -> None:
    assert forecasts().covered > 0.8  # 90 % of many; the true share is itself of 120 runs


def test_the_measures_find_a_fault() -> None:
    guess = np.array([0.05] * 50 + [0.95] * 50)
    honest = np.array([1] * 50 + [19] * 50)
    assert calibration_error(guess, honest) == pytest.approx(0.0)
    assert worst_gap(guess, honest[::-1]) == pytest.approx(0.9)
    assert [round(share, 2) for share, _ in gaps(guess, honest)] == [0.5, 0.5]


def test_it_is_silent_below_eight() -> None:
    assert readiness(trials(*MIXED[:7]), LIMIT_S) is None
    assert readiness(trials(*MIXED[:8]), LIMIT_S) is not None


def test_the_same_runs_give_the_same_answer() -> None:
    assert said(trials(*MIXED)) == said(trials(*MIXED))


def test_a_quick_run_raises_and_a_slow_one_lowers_it() -> None:
    quick, slow, cut = (said(trials(*MIXED, last)).chance for last in (350.0, 900.0, None))
    assert quick > slow > 0
    assert quick > cut


def test_stopped_is_no_pass_however_early() -> None:
    early = [*trials(*MIXED), Trial(11, "pair", None, 60.0, False)]
    late = [*trials(*MIXED), Trial(11, "pair", None, 600.0, False)]
    assert said(early) == said(late)
    assert said(early).chance < said(trials(*MIXED)).chance


def test_in_time_and_yet_not_passed_lowers_it() -> None:
    failed = [replace(one, passed=False) if one.number in (4, 8) else one for one in trials(*MIXED)]
    assert said(failed).chance < said(trials(*MIXED)).chance - 0.03


@pytest.mark.parametrize(("seconds", "low", "high"), [(200.0, 0.85, 0.99), (None, 0.0, 0.1)])
def test_always_and_never_are_not_quite_sure(
    seconds: float | None, low: float, high: float
) -> None:
    made = said(trials(*[seconds] * 12))
    assert low < made.chance < high
    assert 0 < made.low < made.chance < made.high < 1


def test_a_weak_kind_has_its_own_chance_and_pulls_the_whole() -> None:
    strong = [Trial(n, "pair", 400.0, 400.0, True) for n in range(1, 20, 2)]
    weak = [Trial(n, "overlap", 800.0, 800.0, False) for n in range(2, 20, 2)]
    both = sorted([*strong, *weak], key=lambda one: one.number)
    made = said(both)
    assert made.by_kind["overlap"] < 0.35 < 0.75 < made.by_kind["pair"]
    assert made.chance == pytest.approx(sum(made.by_kind.values()) / 2)


def test_learning_that_has_ended_is_not_drawn_on() -> None:
    """A power law up to the eighth run, then 338 s: to be below 300 s is not to be expected."""
    flat = [700.0 * min(number, 8) ** -0.35 * (1.03, 0.97)[number % 2] for number in range(1, 41)]
    made = readiness(trials(*flat), 300.0)
    assert made is not None
    assert made.chance < 0.1


def test_a_kind_never_tried_is_less_certain() -> None:
    asked = said(trials(*[400.0] * 12), kinds=("pair", "overlap"))
    assert asked.by_kind["overlap"] < asked.by_kind["pair"]


def test_what_digging_leaves_of_the_limit_lowers_it() -> None:
    whole = said(trials(*MIXED))
    assert said(trials(*MIXED), left_s=[LIMIT_S]).chance == pytest.approx(whole.chance)
    less = said(trials(*MIXED), left_s=[400.0, 500.0])
    assert less.chance < whole.chance
    assert said(trials(*MIXED), left_s=[-50.0]).chance < 0.001
