"""What counts towards readiness, what never does, and the parts of a dig standard."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from blindfield.scoring.attempts import LEAST_COUNTED, Timed, clock_set_back
from blindfield.scoring.prospect import mean_times, modelled_dig_s, prospects_of
from support.attempts import DIG_GOAL, GOAL, attempt, series

TEN = (520.0, 480.0, 610.0, 450.0, 430.0, 500.0, 410.0, 440.0, 420.0, 400.0)


@pytest.mark.parametrize(
    "changes",
    [
        {"knows_places": True},
        {"repeated": True},
        {"aided": True},
        {"outcome": "void"},
        {"depth_m": (0.7, 1.3)},
        {"depth_m": None},
        {"targets": 3},
        {"limit_s": 900.0},
        {"standard": "another"},
        {"technique": True},
        {"work": "dig only"},
    ],
)
def test_what_does_not_count_changes_nothing(changes: dict[str, Any]) -> None:
    runs = series(TEN)
    odd = replace(attempt(11, outcome="not_met"), **changes)
    with_it, without = prospects_of(GOAL, [*runs, odd]).blind, prospects_of(GOAL, runs).blind
    assert with_it == without
    assert without.said is not None


def test_a_run_that_fails_the_standard_beside_its_time_is_not_met() -> None:
    goal = replace(GOAL, name="strict")
    runs = [replace(one, standard="strict") for one in series([400.0] * 10)]
    failing = [replace(one, failed=("strict",)) if one.number > 8 else one for one in runs]
    other = [replace(one, failed=("another",)) for one in runs]
    assert prospects_of(goal, other) == prospects_of(goal, runs)
    blind = prospects_of(goal, failing).blind
    assert (blind.count.met, blind.count.count) == (8, 10)
    clean = prospects_of(goal, runs).blind.said
    assert blind.said is not None
    assert clean is not None
    assert blind.said.chance < clean.chance - 0.05


def test_an_interrupted_run_is_no_trial_but_a_run() -> None:
    runs = series(TEN)
    odd = attempt(11, outcome="interrupted", whole=Timed(30.0, cut=True))
    after = prospects_of(GOAL, [odd, *runs]).blind
    before = prospects_of(GOAL, runs).blind
    assert after.count == before.count
    assert after.runs == before.runs
    assert after.said != before.said  # each run that follows is one later


@pytest.mark.parametrize("runs", range(LEAST_COUNTED))
def test_below_eight_it_is_silent_and_says_how_many_more(runs: int) -> None:
    blind = prospects_of(GOAL, series(TEN[:runs])).blind
    assert blind.said is None
    assert blind.more == LEAST_COUNTED - runs
    assert blind.count.count == runs


def test_at_eight_it_speaks() -> None:
    assert prospects_of(GOAL, series(TEN[:8])).blind.said is not None


def test_who_knows_the_places_has_a_figure_of_their_own() -> None:
    knowing = series(TEN, knows_places=True)
    both = prospects_of(GOAL, knowing)
    assert both.blind.said is None
    assert both.blind.count.count == 0
    assert both.knowing is not None
    assert both.knowing.said is not None
    mixed = prospects_of(GOAL, [*series([700.0] * 8), *knowing])
    assert mixed.blind == prospects_of(GOAL, series([700.0] * 8)).blind
    assert mixed.knowing == both.knowing
    assert prospects_of(GOAL, series(TEN)).knowing is None


def dug(number: int, whole_s: float, digs_s: tuple[float, ...], **changes: Any) -> Any:
    return attempt(
        number,
        work="search and dig",
        limit_s=900.0,
        whole=Timed(whole_s),
        digs=tuple(Timed(one) for one in digs_s),
        outcome="met" if whole_s <= 900.0 else "not_met",
        **changes,
    )


def test_eight_whole_runs_speak_for_themselves() -> None:
    runs = [dug(number, 800.0, (200.0, 180.0)) for number in range(1, 9)]
    blind = prospects_of(DIG_GOAL, runs).blind
    assert (blind.basis, blind.runs, blind.digs) == ("whole", 8, 16)
    assert blind.said is not None
    assert blind.budget_s is not None
    assert not blind.dig_is_model
    assert blind.budget_s == pytest.approx(900.0 - 2 * 185.0, abs=40.0)


def test_search_of_some_and_digging_of_others_are_combined() -> None:
    searches = series(TEN, limit_s=900.0)
    digs = [attempt(20 + n, work="dig only", targets=1, digs=(Timed(200.0),)) for n in range(5)]
    blind = prospects_of(DIG_GOAL, [*searches, *digs]).blind
    assert (blind.basis, blind.runs, blind.digs) == ("search and dig combined", 10, 5)
    slow = [replace(one, digs=(Timed(260.0),)) for one in digs]
    slower = prospects_of(DIG_GOAL, [*searches, *slow]).blind
    assert blind.said is not None
    assert slower.said is not None
    assert slower.said.chance < blind.said.chance - 0.05
    hopeless = [replace(one, digs=(Timed(900.0),)) for one in digs]
    never = prospects_of(DIG_GOAL, [*searches, *hopeless]).blind
    assert never.budget_s == 0.0
    assert never.said is not None
    assert never.said.chance < 0.02


def test_without_a_dig_it_is_the_search_part_within_a_modelled_budget() -> None:
    blind = prospects_of(DIG_GOAL, series(TEN, limit_s=900.0)).blind
    assert blind.basis == "search part only"
    assert blind.dig_is_model
    assert blind.digs == 0
    assert blind.budget_s == pytest.approx(900.0 - 2 * modelled_dig_s(DIG_GOAL))
    assert 60.0 < modelled_dig_s(DIG_GOAL) < 400.0


def test_the_clock_set_back_is_seen_and_changes_nothing() -> None:
    runs = series(TEN)
    odd = [
        replace(one, utc="2020-01-01T00:00:00.000000Z") if n == 4 else one
        for n, one in enumerate(runs)
    ]
    assert [(a.number, b.number) for a, b in clock_set_back(odd)] == [(4, 5)]
    assert clock_set_back(runs) == []
    assert prospects_of(GOAL, odd).blind.said == prospects_of(GOAL, runs).blind.said


@pytest.mark.parametrize("holes", [1, 2, 3])
def test_the_mean_of_some_digs_is_as_wide_as_it_is(holes: int) -> None:
    drawn = np.random.default_rng(4).lognormal(np.log(200.0), 0.4, (200_000, holes)).mean(axis=1)
    made = mean_times(200.0, 0.4, holes)
    assert np.mean(made) == pytest.approx(drawn.mean(), rel=0.01)
    assert np.std(made) == pytest.approx(drawn.std(), rel=0.08)  # 24 points lack the far tail
    assert np.median(made) == pytest.approx(np.median(drawn), rel=0.01)
