"""A pace found again in modelled people, and what may not carry it away."""

from __future__ import annotations

import math
from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blindfield.model.errors import NotReady
from blindfield.searcher.legs import times_of
from blindfield.searcher.par import Par, par_from
from blindfield.searcher.problem import EXAMPLE
from blindfield.searcher.profiles import Profile, profile_named
from blindfield.searcher.refit import LEGS_FOR_SPREAD, Observed, Refit, fit, refit
from blindfield.searcher.values import Problem
from blindfield.searcher.walk import walk
from support.walks import drawn_legs, made_problem, walks_of

MEDIANS_S = ((90.0, 150.0), (60.0, 220.0), (140.0, 110.0), (100.0, 100.0))
SPREAD = 0.35
PROBLEMS = [made_problem(title=f"made up {number}") for number in range(len(MEDIANS_S))]
PARS: dict[Problem, Par] = {
    problem: par_from(walks_of(drawn_legs(500, medians_s, spread=SPREAD)), problem, "made", seed=1)
    for problem, medians_s in zip(PROBLEMS, MEDIANS_S, strict=True)
}


def people(
    time: float, *, runs: int, seed: int, spread: float = 1.0, limit_s: float = math.inf
) -> list[Observed]:
    """Legs of somebody whose pace is known, on the problems in turn; broken off at `limit_s`."""
    legs = []
    for run in range(runs):
        medians_s = MEDIANS_S[run % len(MEDIANS_S)]
        walked_s = time * drawn_legs(1, medians_s, spread=SPREAD * spread, seed=1000 * seed + run)
        left_s = limit_s
        for leg, seconds in enumerate(map(float, walked_s[0]), 1):
            problem = PROBLEMS[run % len(MEDIANS_S)]
            legs.append(Observed(problem, leg, min(seconds, left_s), seconds > left_s, f"r{run}"))
            left_s -= seconds
            if left_s <= 0:
                break
    return legs


def holds(found: Refit, time: float) -> bool:
    return found.time_low <= time <= found.time_high


@pytest.mark.parametrize("time", [0.8, 1.0, 1.4])
def test_a_known_pace_is_within_the_interval_told(time: float) -> None:
    found = [fit(people(time, runs=10, seed=seed), PARS) for seed in range(16)]
    assert sum(holds(one, time) for one in found) >= 14  # 95 % of 16 is 15
    best = np.array([one.pace.time for one in found])
    assert np.exp(np.log(best).mean()) == pytest.approx(time, rel=0.06)
    widths = [one.time_high / one.time_low for one in found]
    assert max(widths) < 1.6  # an interval that says something


@pytest.mark.parametrize("limit_s", [300.0, 220.0])
def test_legs_broken_off_do_not_flatter(limit_s: float) -> None:
    runs = [people(1.4, runs=12, seed=seed, limit_s=limit_s) for seed in range(12)]
    assert any(leg.censored for leg in runs[0])
    found = [fit(legs, PARS) for legs in runs]
    best = math.exp(np.mean([math.log(one.pace.time) for one in found]))
    assert best == pytest.approx(1.4, rel=0.08)
    assert sum(holds(one, 1.4) for one in found) >= 10
    dropped = [fit([leg for leg in legs if not leg.censored], PARS) for legs in runs]
    flattered = math.exp(np.mean([math.log(one.pace.time) for one in dropped]))
    assert flattered < best * 0.95  # what dropping them would have said


@settings(max_examples=25)
@given(st.floats(1.0, 1200.0), st.integers(1, 2), st.integers(0, 3))
def test_one_more_leg_broken_off_never_means_a_quicker_pace(
    seconds: float, leg: int, which: int
) -> None:
    legs = people(1.0, runs=3, seed=3)
    more = [*legs, Observed(PROBLEMS[which], leg, seconds, censored=True)]
    assert fit(more, PARS).pace.time >= fit(legs, PARS).pace.time * (1 - 1e-9)


def test_a_leg_broken_off_later_means_a_slower_pace() -> None:
    legs = people(1.0, runs=3, seed=3)
    times = [
        fit([*legs, Observed(PROBLEMS[0], 1, seconds, censored=True)], PARS).pace.time
        for seconds in (20.0, 70.0, 110.0)
    ]
    assert times == sorted(times)
    assert times[-1] > times[0] * 1.02


def test_few_legs_are_drawn_toward_the_profile() -> None:
    def by(runs: int) -> float:
        return math.log(
            np.mean([fit(people(1.6, runs=runs, seed=s), PARS).pace.time for s in range(6)])
        )

    assert 0.2 * math.log(1.6) < by(2) < by(20) < 1.15 * math.log(1.6)
    assert by(20) == pytest.approx(math.log(1.6), rel=0.12)


def test_spread_is_judged_only_with_enough_legs() -> None:
    few = fit(people(1.0, runs=(LEGS_FOR_SPREAD - 1) // 2, seed=1, spread=2.0), PARS)
    assert (few.spread_fitted, few.pace.spread) == (False, 1.0)
    wide = [fit(people(1.0, runs=25, seed=s, spread=1.6), PARS).pace.spread for s in range(4)]
    even = [fit(people(1.0, runs=25, seed=s, spread=0.7), PARS).pace.spread for s in range(4)]
    assert np.mean(wide) == pytest.approx(1.6, rel=0.2)
    assert np.mean(even) == pytest.approx(0.7, rel=0.2)


def test_one_leg_gone_wrong_does_not_carry_the_pace() -> None:
    legs = people(1.0, runs=6, seed=2)
    lost = [*legs[:-1], replace(legs[-1], seconds=1100.0)]
    assert fit(lost, PARS).pace.time < 1.25 * fit(legs, PARS).pace.time


def test_the_table_holds_model_against_people() -> None:
    legs = [
        Observed(PROBLEMS[0], 1, 90.0, label="a"),
        Observed(PROBLEMS[0], 2, 1000.0),
        Observed(PROBLEMS[1], 1, 5.0, censored=True),
    ]
    rows = fit(legs, PARS).rows
    assert [row.observed for row in rows] == legs
    assert [row.model for row in rows] == [
        PARS[PROBLEMS[0]].legs[0],
        PARS[PROBLEMS[0]].legs[1],
        PARS[PROBLEMS[1]].legs[0],
    ]
    assert [row.faster for row in rows] == pytest.approx([0.5, 1.0, 0.0], abs=0.05)


def test_legs_that_the_model_never_ends_say_nothing() -> None:
    never = made_problem(title="never")
    pars = {**PARS, never: par_from(walks_of(np.full((50, 2), np.nan)), never, "made", seed=1)}
    legs = people(1.3, runs=4, seed=1)
    more = [*legs, Observed(never, 1, 100.0), Observed(never, 2, 100.0, censored=True)]
    assert fit(more, pars).pace.time == pytest.approx(fit(legs, PARS).pace.time, rel=1e-9)


def test_who_never_began_a_leg_says_nothing_of_its_being_broken_off() -> None:
    """Half of the searchers give up on the first leg; whoever begins the second ends it."""
    legs_s = drawn_legs(1000, MEDIANS_S[0], spread=SPREAD)
    halved = legs_s.copy()
    halved[::2] = np.nan
    problem = made_problem(title="halved")
    broken_off = [Observed(problem, 2, seconds, censored=True) for seconds in (250.0, 240.0, 230.0)]
    found = [
        fit(broken_off, {problem: par_from(walks_of(legs), problem, "made", seed=1)}).pace.time
        for legs in (legs_s, halved)
    ]
    assert found[0] > 1.2
    assert found[1] == pytest.approx(found[0], rel=0.03)


def test_two_legs_are_too_few() -> None:
    with pytest.raises(NotReady, match="2 of the 3 legs"):
        fit(people(1.0, runs=1, seed=1), PARS)


@pytest.mark.parametrize(
    ("leg", "seconds"), [(0, 10.0), (3, 10.0), (1, 0.0), (1, math.inf), (1, math.nan)]
)
def test_an_impossible_leg_is_refused(leg: int, seconds: float) -> None:
    with pytest.raises(ValueError, match="leg"):
        Observed(PROBLEMS[0], leg, seconds)


def slowed(profile: Profile, time: float) -> Profile:
    """Somebody who walks more slowly and takes longer over everything, digging apart."""
    speeds = [one.name for one in fields(profile) if one.name.endswith("speed_m_s")]
    spans = ["reaction_s", "decision_s", "assembly_s", "stroke_s", "stroke_s_per_m", "marking_s"]
    return replace(
        profile,
        name="slowed",
        **{name: getattr(profile, name) / time for name in speeds},
        **{name: getattr(profile, name) * time for name in spans},
    )


@pytest.mark.parametrize("time", [0.85, 1.4])
def test_a_modelled_searcher_who_is_slower_is_found_to_be_so(time: float) -> None:
    """A searcher of the model itself, slowed in every speed and pause; 12 runs on 4 problems."""
    practised = profile_named("practised")
    legs = []
    for place, x_m in enumerate((8.0, 18.0, 30.0, 42.0)):
        first, second = EXAMPLE.sources
        problem = replace(EXAMPLE, sources=(replace(first, x_m=x_m), second))
        walks = walk(problem, slowed(practised, time), count=3, seed=50 + place, until_s=1200.0)
        for leg_s in times_of(walks, problem).leg_s:
            legs += [
                Observed(problem, leg, float(s)) for leg, s in enumerate(leg_s, 1) if s < math.inf
            ]
    found = refit(legs, practised, count=200)
    assert len(legs) >= 20
    assert found.profile == "practised"
    assert holds(found, time)
    assert found.time_high / found.time_low < 1.5
