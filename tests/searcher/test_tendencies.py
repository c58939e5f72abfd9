"""What makes a search harder makes it longer: rank tests over many draws, geometry held.

`mannwhitneyu` asks how probable ranks as apart as these are if both were equally long. Who gave up
counts as longer than anyone who did not.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from scipy.stats import mannwhitneyu

from blindfield.searcher.problem import EXAMPLE
from blindfield.searcher.profiles import EXPERT, PRACTISED, Profile
from blindfield.searcher.values import Problem, Source
from blindfield.searcher.walk import walk
from support.searching import all_changed, changed, last_find_s, one_target

DRAWS = 120
BY_CHANCE = 1e-4

NEAR = {"x_m": 22.0, "y_m": 30.0}
APART = changed(1, all_changed(period_s=1.0, phase_s=0.0), phase_s=0.5)
TOGETHER = all_changed(period_s=1.0, phase_s=0.0)
THIRD = Source("3", 10.0, 40.0, 1.0, 20.0, 0.0, period_s=1.02, phase_s=0.2)
WEAK = replace(PRACTISED, coaxial_range_m=20.0, strip_width_m=20.0)


def by_chance(
    shorter: Problem, longer: Problem, profile: Profile, other: Profile, draws: int = DRAWS
) -> float:
    first = walk(shorter, profile, count=draws, seed=1, until_s=1200.0)
    second = walk(longer, other, count=draws, seed=2, until_s=1200.0)
    result = mannwhitneyu(last_find_s(first), last_find_s(second), alternative="less")
    return float(result.pvalue)


@pytest.mark.parametrize("profile", [PRACTISED, EXPERT], ids=lambda profile: profile.name)
@pytest.mark.parametrize(
    ("shorter", "longer"),
    [
        pytest.param(all_changed(depth_m=0.6), EXAMPLE, id="deeper"),
        pytest.param(EXAMPLE, all_changed(depth_m=1.7), id="deeper still"),
        pytest.param(replace(EXAMPLE, sources=EXAMPLE.sources[:1]), EXAMPLE, id="a second target"),
        pytest.param(
            EXAMPLE, replace(EXAMPLE, sources=(*EXAMPLE.sources, THIRD)), id="a third target"
        ),
        pytest.param(APART, TOGETHER, id="pulses overlap"),
        pytest.param(changed(1, APART, **NEAR), changed(1, TOGETHER, **NEAR), id="overlap, near"),
        pytest.param(APART, replace(APART, marking_allowed=False), id="marking forbidden"),
        pytest.param(
            changed(1, APART, **NEAR),
            replace(changed(1, APART, **NEAR), marking_allowed=False),
            id="marking forbidden, near",
        ),
    ],
)
def test_a_harder_problem_takes_longer(shorter: Problem, longer: Problem, profile: Profile) -> None:
    assert by_chance(shorter, longer, profile, profile) < BY_CHANCE


AHEAD = one_target(x_m=25.0, y_m=25.0, azimuth_deg=90.0, tilt_deg=0.0)


@pytest.mark.parametrize(
    "longer",
    [
        pytest.param(changed(0, AHEAD, azimuth_deg=0.0), id="across to the strip"),
        pytest.param(changed(0, AHEAD, tilt_deg=90.0), id="upright"),
        pytest.param(changed(0, AHEAD, moment_a_m2=0.003), id="a weaker sender"),
    ],
)
def test_worse_coupling_takes_longer(longer: Problem) -> None:
    """The antenna of the easier one points at the first strip: coaxial, by a weak receiver."""
    assert by_chance(AHEAD, longer, WEAK, WEAK, 2 * DRAWS) < BY_CHANCE


def test_a_receiver_of_shorter_range_takes_longer() -> None:
    assert by_chance(EXAMPLE, EXAMPLE, PRACTISED, WEAK) < BY_CHANCE


def test_the_rank_test_finds_nothing_where_nothing_differs() -> None:
    assert BY_CHANCE < by_chance(EXAMPLE, EXAMPLE, PRACTISED, PRACTISED) < 1 - BY_CHANCE
