"""What makes a search harder makes it longer: rank tests over many draws, geometry held.

`mannwhitneyu` asks how probable ranks as apart as these are if both were equally long. Who gave up
counts as longer than anyone who did not.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import mannwhitneyu

from blindfield.physics.dipole import field_at, magnitude_a_m, moment_of
from blindfield.physics.emission import NOMINAL_MOMENT_A_M2
from blindfield.physics.receiver import displayed_distance_m
from blindfield.searcher.hearing import HIP_M, SURFACE_M
from blindfield.searcher.problem import EXAMPLE
from blindfield.searcher.profiles import EXPERT, PRACTISED, Profile
from blindfield.searcher.values import Phase, Problem, Source
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


def pinpointing_s(profile: Profile, seed: int) -> list[float]:
    walks = walk(one_target(depth_m=1.2), profile, count=600, seed=seed, until_s=1200.0)
    spent_s = walks.phase_s[:, 0, Phase.PINPOINTING]
    return sorted(np.where(np.isnan(spent_s), np.inf, spent_s).tolist())


def test_a_coarser_reading_leaves_more_to_the_probe() -> None:
    """The smallest reading lies farther from the target: more strokes of the spiral."""
    fine, coarse = (replace(PRACTISED, reading_error=error) for error in (0.01, 0.3))
    result = mannwhitneyu(pinpointing_s(fine, 1), pinpointing_s(coarse, 2), alternative="less")
    assert float(result.pvalue) < BY_CHANCE


def test_near_the_target_a_receiver_at_the_hip_shows_more_than_one_at_the_surface() -> None:
    """By the height above the target, 1 m below the snow: straight over it (1 + 1.0) / (1 + 0.1)
    of the distance, cube root of the field, whatever way the antenna lies."""
    target_m = np.array([0.0, 0.0, -1.0])
    moment = moment_of(NOMINAL_MOMENT_A_M2, 30.0, 20.0)
    shown_m = [
        float(displayed_distance_m(magnitude_a_m(field_at([0.0, 0.0, up_m], target_m, moment))))
        for up_m in (SURFACE_M, HIP_M)
    ]
    assert shown_m[1] / shown_m[0] == pytest.approx((1.0 + HIP_M) / (1.0 + SURFACE_M), rel=1e-9)
    assert HIP_M > 0.8 > 0.3 > SURFACE_M >= 0.0  # carried at the hip, held at the snow
