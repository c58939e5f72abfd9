"""A receiver in any attitude: what it sees, displays and points at, and how far it hears."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blindfield.physics.dipole import field_a_m, flux_direction, magnitude_a_m, moment_of
from blindfield.physics.emission import NOMINAL_MOMENT_A_M2
from blindfield.physics.receiver import (
    arrow_deg,
    arrow_xy,
    attitude,
    coupling,
    displayed_distance_m,
    range_m,
    signal,
    strip_width_m,
    threshold_a_m,
)
from support.rotations import random_offsets, random_rotation

seeds = st.integers(0, 2**32 - 1)
angles = st.floats(-360.0, 360.0)


@given(seeds)
def test_three_antennas_see_the_whole_field_in_every_attitude(seed: int) -> None:
    rng = np.random.default_rng(seed)
    field = rng.normal(size=(30, 3))
    turn = random_rotation(rng)
    seen = np.sqrt(sum(np.square(field @ antenna) for antenna in turn.T))
    assert np.allclose(signal(field, turn), seen, rtol=1e-12)
    assert np.allclose(signal(field), magnitude_a_m(field), rtol=1e-15)


@given(seeds)
def test_fewer_antennas_never_see_more(seed: int) -> None:
    rng = np.random.default_rng(seed)
    field, turn = rng.normal(size=(30, 3)), random_rotation(rng)
    one, two, three = (signal(field, turn, antennas) for antennas in (1, 2, 3))
    assert np.allclose(one, np.abs(field @ turn[:, 0]), rtol=1e-12)
    assert np.allclose(three**2 - two**2, np.square(field @ turn[:, 2]), rtol=1e-9, atol=1e-12)
    assert np.all(one <= two * (1 + 1e-15))


@given(angles, angles, angles)
def test_an_attitude_is_a_proper_rotation(
    azimuth_deg: float, pitch_deg: float, roll_deg: float
) -> None:
    turn = attitude(*(np.asarray(angle) for angle in (azimuth_deg, pitch_deg, roll_deg)))
    assert np.allclose(turn @ turn.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(turn) == pytest.approx(1.0, abs=1e-12)
    along = moment_of(1.0, azimuth_deg, pitch_deg)
    assert np.allclose(turn[:, 0], along, atol=1e-12)


def test_a_level_receiver_has_its_second_antenna_to_the_right_and_roll_lowers_it() -> None:
    level = np.zeros(())
    north = attitude(level, level, level)
    assert np.allclose(north, np.array([[0, 1, 0], [1, 0, 0], [0, 0, -1]]), atol=1e-15)
    rolled = attitude(level, level, np.asarray(30.0))
    assert np.allclose(rolled[:, 1], [0.75**0.5, 0.0, -0.5], atol=1e-15)
    assert attitude(np.zeros((4, 1)), level, np.zeros(2)).shape == (4, 2, 3, 3)


@given(seeds)
def test_a_coaxial_receiver_displays_the_distance_and_a_broadside_one_1_26_times_it(
    seed: int,
) -> None:
    rng = np.random.default_rng(seed)
    turn, distance_m = random_rotation(rng), rng.uniform(0.3, 60.0)
    moment = NOMINAL_MOMENT_A_M2 * turn[:, 0]
    ahead = signal(field_a_m(distance_m * turn[:, 0], moment))
    beside = signal(field_a_m(distance_m * turn[:, 1], moment))
    assert displayed_distance_m(ahead) == pytest.approx(distance_m, rel=1e-12)
    assert displayed_distance_m(beside) == pytest.approx(2 ** (1 / 3) * distance_m, rel=1e-12)


@given(seeds)
def test_the_display_lies_between_the_distance_and_1_26_times_it(seed: int) -> None:
    rng = np.random.default_rng(seed)
    offset_m = random_offsets(rng, 50)
    moment = 0.004 * flux_direction(rng.normal(size=(50, 3)))
    shown = displayed_distance_m(signal(field_a_m(offset_m, moment)), 0.004)
    ratio = shown / magnitude_a_m(offset_m)
    assert np.all(ratio >= 1 - 1e-12)
    assert np.all(ratio <= 2 ** (1 / 3) * (1 + 1e-12))


@pytest.mark.parametrize(
    ("field", "azimuth_deg"),
    [((0, 1, 5), 0), ((1, 0, -5), 90), ((0, -1, 0), 180), ((-2, 0, 1), 270), ((-1, 1, 0), 315)],
)
def test_the_arrow_is_the_flux_line_seen_from_above(
    field: tuple[float, float, float], azimuth_deg: float
) -> None:
    values = np.array(field, dtype=float)
    assert arrow_deg(values) == pytest.approx(azimuth_deg, abs=1e-12)
    flat = moment_of(1.0, azimuth_deg, 0.0)
    assert np.allclose(arrow_xy(values), flat[:2], atol=1e-15)


def test_there_is_no_arrow_on_an_upright_flux_line_and_no_distance_without_a_signal() -> None:
    upright = np.array([[0.0, 0.0, 2e-6], [0.0, 3e-9, 2e-6]])
    assert arrow_xy(upright).tolist() == [[0.0, 0.0], [0.0, 1.0]]
    assert displayed_distance_m(np.zeros(2)).tolist() == [np.inf, np.inf]


@given(seeds)
def test_following_the_arrow_ends_over_the_sender(seed: int) -> None:
    """Steps along the flux line, on the side on which the display falls, reach the target."""
    rng = np.random.default_rng(seed)
    depth_m = rng.uniform(0.5, 1.5)
    moment = moment_of(NOMINAL_MOMENT_A_M2, rng.uniform(0, 360), rng.uniform(-30, 30))
    place = np.array([*rng.uniform(-20.0, 20.0, 2), depth_m])

    def shown(where: np.ndarray) -> float:
        return float(displayed_distance_m(signal(field_a_m(where, moment))))

    nearest_m = np.hypot(place[0], place[1])
    for _ in range(200):
        step = 0.25 * arrow_xy(field_a_m(place, moment))
        ways = [place + sign * np.array([*step, 0.0]) for sign in (1.0, -1.0)]
        place = min(ways, key=shown)
        nearest_m = min(nearest_m, np.hypot(place[0], place[1]))
    assert nearest_m <= 0.5 * depth_m + 0.25


@given(seeds)
def test_coupling_is_the_signal_of_one_antenna_as_a_share_of_the_coaxial_one(seed: int) -> None:
    rng = np.random.default_rng(seed)
    sent, heard, toward = (flux_direction(rng.normal(size=(40, 3))) for _ in range(3))
    distance_m = rng.uniform(1.0, 40.0, (40, 1))
    seen = np.abs(np.sum(field_a_m(distance_m * toward, sent) * heard, axis=-1))
    coaxial = 1.0 / (2.0 * np.pi * distance_m[:, 0] ** 3)
    assert np.allclose(coupling(sent, heard, toward), seen / coaxial, rtol=1e-9, atol=1e-12)


@given(st.floats(1.0, 100.0), st.floats(0.01, 1.0))
def test_at_its_range_a_receiver_sees_its_threshold(coaxial_m: float, share: float) -> None:
    reach_m = float(range_m(coaxial_m, share))
    seen = share * NOMINAL_MOMENT_A_M2 / (2.0 * np.pi * reach_m**3)
    assert float(threshold_a_m(coaxial_m)) == pytest.approx(seen, rel=1e-12)
    assert displayed_distance_m(threshold_a_m(coaxial_m)) == pytest.approx(coaxial_m, rel=1e-12)


@given(st.floats(1.0, 100.0), st.floats(0.0, 0.49))
def test_a_strip_narrows_by_twice_the_spread(r_max_m: float, share: float) -> None:
    width_m = strip_width_m(r_max_m, share * r_max_m)
    assert width_m == pytest.approx((1 - 2 * share) * strip_width_m(r_max_m, 0.0), rel=1e-9)


@pytest.mark.parametrize(
    ("r_max_m", "sigma_m", "says"),
    [
        (40.0, 20.0, "leaves no search strip"),
        (40.0, 25.0, "leaves no search strip"),
        (0.0, 0.0, "range above zero"),
        (-5.0, 0.0, "range above zero"),
        (40.0, -1.0, "spread of zero or more"),
        (float("nan"), 1.0, "range above zero"),
        (float("inf"), 1.0, "range above zero"),
    ],
)
def test_a_strip_without_width_is_refused(r_max_m: float, sigma_m: float, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        strip_width_m(r_max_m, sigma_m)
