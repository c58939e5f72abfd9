"""Each phase by itself: what is shown, where the cross ends, when the probe hits, what to dig."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from blindfield.physics.dipole import field_at, magnitude_a_m, moment_of
from blindfield.searcher.coarse import coarse_search
from blindfield.searcher.excavation import excavation_s, snow_m3
from blindfield.searcher.fine import fine_search
from blindfield.searcher.hearing import HIP_M, SURFACE_M, hear
from blindfield.searcher.pinpoint import RADII_M, pinpointing
from blindfield.searcher.planned import signal_search
from blindfield.searcher.problem import EXAMPLE
from blindfield.searcher.profiles import PRACTISED
from blindfield.searcher.scene import PACK
from blindfield.searcher.values import Phase
from support.searching import STEADY, all_changed, changed, one_target, state_at

COAXIAL = replace(STEADY, coaxial_range_m=40.0)
ONE = np.arange(1)


@pytest.mark.parametrize(
    ("azimuth_deg", "reach_m"),
    [(0.0, 40.0), (90.0, 40.0 * 0.5 ** (1 / 3))],
    ids=["coaxial", "broadside"],
)
def test_a_signal_is_heard_as_far_as_the_coupling_lets_it(
    azimuth_deg: float, reach_m: float
) -> None:
    problem = replace(
        one_target(x_m=25.0, y_m=1.0, azimuth_deg=azimuth_deg, tilt_deg=0.0), height_m=60.0
    )
    flat_m = np.sqrt(reach_m**2 - (1.0 + HIP_M) ** 2)
    for over_m, lead in ((-0.3, 0), (0.3, -1)):
        state = state_at(problem, COAXIAL, 25.0, 1.0 + flat_m + over_m)
        assert hear(state, ONE, HIP_M).lead.tolist() == [lead]


def test_the_strongest_signal_is_shown_and_a_marked_one_is_not() -> None:
    problem = changed(1, phase_s=0.5, period_s=0.98)
    state = state_at(problem, COAXIAL, 16.0, 22.0)
    assert hear(state, ONE, SURFACE_M).lead.tolist() == [0]
    state.marked[0, 0] = True
    assert hear(state, ONE, SURFACE_M).lead.tolist() == [1]


def test_a_weaker_signal_whose_pulses_coincide_stays_hidden_though_the_other_is_marked() -> None:
    state = state_at(all_changed(period_s=1.0, phase_s=0.0), COAXIAL, 16.0, 22.0)
    state.marked[0, 0] = True
    assert hear(state, ONE, SURFACE_M).shown.tolist() == [-1]
    state.x_m[:], state.y_m[:] = 36.0, 36.0
    assert hear(state, ONE, SURFACE_M).lead.tolist() == [1]


def test_a_found_signal_that_is_not_marked_is_shown_but_not_gone_to() -> None:
    state = state_at(EXAMPLE, COAXIAL, 16.0, 22.0)
    state.found_s[0, 0] = 1.0
    heard = hear(state, ONE, SURFACE_M)
    assert (heard.shown.tolist(), heard.lead.tolist()) == ([0], [-1])


def test_who_sets_out_the_wrong_way_along_the_flux_line_turns_about() -> None:
    problem = one_target(x_m=25.0, y_m=40.0, azimuth_deg=0.0, tilt_deg=0.0)
    seconds = []
    for north in (1.0, -1.0):
        state = state_at(problem, STEADY, 25.0, 22.0)
        state.shown_m[:], state.north[:] = np.inf, north
        state.phase[:] = Phase.COARSE_SEARCH
        while state.phase[0] == Phase.COARSE_SEARCH:
            coarse_search(state, ONE)
        assert state.phase[0] == Phase.FINE_SEARCH
        assert np.hypot(state.x_m[0] - 25.0, state.y_m[0] - 40.0) < 4.0
        seconds.append(state.run_s[0])
    assert seconds[0] + STEADY.reaction_s < seconds[1] < seconds[0] + 15.0


def test_a_signal_that_was_just_lost_is_left_alone_for_a_while() -> None:
    state = state_at(EXAMPLE, COAXIAL, 25.0, 0.0)
    state.deaf_until_s[:] = 3.0
    phases = []
    for _ in range(4):
        signal_search(state, ONE)
        phases.append(int(state.phase[0]))
        if phases[-1] != Phase.SIGNAL_SEARCH:
            break
    assert phases == [Phase.SIGNAL_SEARCH, Phase.SIGNAL_SEARCH, Phase.COARSE_SEARCH]


def maximum_m(azimuth_deg: float, tilt_deg: float, depth_m: float) -> np.ndarray:
    """Where the field over the snow is largest, by trying every 2 cm."""
    steps = np.arange(-2.0, 2.001, 0.02)
    x, y = np.meshgrid(steps, steps)
    points = np.stack([x, y, np.full_like(x, SURFACE_M)], axis=-1)
    field = magnitude_a_m(
        field_at(points, (0.0, 0.0, -depth_m), moment_of(1.0, azimuth_deg, tilt_deg))
    )
    at = np.unravel_index(field.argmax(), field.shape)
    return np.array([x[at], y[at]])


@pytest.mark.parametrize(
    ("azimuth_deg", "tilt_deg", "depth_m"),
    [(0.0, 90.0, 1.0), (30.0, 45.0, 1.5), (200.0, 30.0, 2.0), (120.0, -40.0, 1.0)],
)
def test_the_cross_ends_at_the_maximum_of_the_true_field_not_over_the_target(
    azimuth_deg: float, tilt_deg: float, depth_m: float
) -> None:
    problem = one_target(
        x_m=25.0, y_m=25.0, azimuth_deg=azimuth_deg, tilt_deg=tilt_deg, depth_m=depth_m
    )
    profile = replace(STEADY, bracket_spacing_m=0.1, bracket_crossings=6)
    state = state_at(problem, profile, 24.0, 23.0, count=200)
    fine_search(state, np.arange(200))
    ended = np.stack([state.x_m - 25.0, state.y_m - 25.0], axis=-1)
    expected = maximum_m(azimuth_deg, tilt_deg, depth_m)
    assert np.abs(ended.mean(axis=0) - expected).max() < 0.15
    assert (state.phase == Phase.PINPOINTING).all()
    aside_m = np.hypot(*expected)
    assert aside_m <= 0.25 * depth_m + 0.05  # three antennas: 25 % of depth (2015, the abstract)
    if abs(tilt_deg) < 90:
        assert np.hypot(*ended.mean(axis=0)) > aside_m / 2 > 0.05


def test_a_coarser_cross_is_further_off() -> None:
    problem = one_target(x_m=25.0, y_m=25.0, azimuth_deg=0.0, tilt_deg=90.0, depth_m=0.8)
    off_m = []
    for spacing_m in (0.1, 1.0):
        profile = replace(STEADY, bracket_spacing_m=spacing_m)
        state = state_at(problem, profile, 24.0, 23.0, count=300)
        fine_search(state, np.arange(300))
        off_m.append(np.hypot(state.x_m - 25.0, state.y_m - 25.0).mean())
    assert off_m[0] < off_m[1] / 1.5


def test_over_the_pack_the_first_stroke_hits() -> None:
    problem = one_target()
    state = state_at(problem, STEADY, 20.0, 30.0, count=20)
    hit = pinpointing(state, np.arange(20))
    assert hit.tolist() == list(range(20))
    stroke_s = STEADY.stroke_s + STEADY.stroke_s_per_m * 3.0
    assert state.run_s == pytest.approx(STEADY.assembly_s + stroke_s)


def test_a_pack_found_before_is_not_found_again() -> None:
    state = state_at(one_target(), STEADY, 20.0, 30.0)
    state.found_s[0, 0] = 1.0
    assert pinpointing(state, ONE).size == 0


def test_a_spiral_finds_every_pack_within_its_reach_and_none_beyond() -> None:
    for off_m, found in ((RADII_M[0] - 0.1, True), (RADII_M[0] + 3 * PACK.reach_m, False)):
        state = state_at(one_target(), STEADY, 20.0 + off_m, 30.0, count=50)
        assert pinpointing(state, np.arange(50)).size == (50 if found else 0)
    assert (state.phase == Phase.FINE_SEARCH).all()
    assert (state.attempts == 1).all()


def test_strokes_that_nobody_feels_cost_time() -> None:
    times_s = []
    for miss_rate in (0.0, 0.6):
        profile = replace(STEADY, miss_rate=miss_rate)
        state = state_at(one_target(), profile, 20.3, 30.0, count=400)
        hit = pinpointing(state, np.arange(400))
        times_s.append(state.run_s[hit].mean())
    assert times_s[1] > times_s[0] + PRACTISED.stroke_s


def test_digging_grows_with_depth_and_shrinks_with_hands() -> None:
    depth_m = np.array([0.5, 1.0, 2.0])
    assert (np.diff(snow_m3(depth_m)) > 0).all()
    alone, two = (excavation_s(depth_m, replace(PRACTISED, shovellers=n)) for n in (1, 2))
    assert (two < alone).all()
    assert (two > alone / 2).all()
    assert alone == pytest.approx(snow_m3(depth_m) / PRACTISED.dig_rate_m3_s)
