"""Field limits turn into moments and back, and the full field becomes the near field."""

from __future__ import annotations

import numpy as np
import pytest

from blindfield.physics.dipole import field_a_m, magnitude_a_m
from blindfield.physics.emission import (
    CARRIER_HZ,
    HIGHEST_A_M,
    LOWEST_A_M,
    NOMINAL_MOMENT_A_M2,
    broadside_moment_for_a_m2,
    coaxial_field_a_m,
    field_of_level_a_m,
    full_field_a_m,
    level_of_field_db_ua_m,
    moment_for_a_m2,
    near_field_limit_m,
    quasi_static_error,
)
from support.rotations import random_offsets, random_rotation


def test_fields_levels_and_moments_go_there_and_back() -> None:
    fields = np.geomspace(1e-9, 1e-3, 13)
    assert np.allclose(field_of_level_a_m(level_of_field_db_ua_m(fields)), fields, rtol=1e-13)
    for distance_m in (1.0, 10.0):
        moments = moment_for_a_m2(fields, distance_m)
        assert np.allclose(coaxial_field_a_m(moments, distance_m), fields, rtol=1e-13)


def test_a_coaxial_moment_gives_its_field_on_the_axis_and_a_broadside_one_on_the_equator() -> None:
    field = 1.3e-6
    axial = field_a_m(np.array([0, 10.0, 0]), np.array([0, float(moment_for_a_m2(field)), 0]))
    side = float(broadside_moment_for_a_m2(field))
    equatorial = field_a_m(np.array([10.0, 0, 0]), np.array([0, side, 0]))
    assert magnitude_a_m(axial) == pytest.approx(field, rel=1e-13)
    assert magnitude_a_m(equatorial) == pytest.approx(field, rel=1e-13)


def test_the_nominal_moment_is_as_far_from_either_limit() -> None:
    field = float(coaxial_field_a_m(NOMINAL_MOMENT_A_M2))
    assert LOWEST_A_M < field < HIGHEST_A_M
    assert field / LOWEST_A_M == pytest.approx(HIGHEST_A_M / field, rel=1e-12)


def test_close_in_the_full_field_is_the_near_field() -> None:
    rng = np.random.default_rng(3)
    offset_m, moment = random_offsets(rng, 50), rng.normal(size=(50, 3))
    full = full_field_a_m(offset_m, moment, carrier_hz=1.0)
    near = field_a_m(offset_m, moment)
    assert np.all(magnitude_a_m(np.abs(full - near)) <= 1e-6 * magnitude_a_m(near))


def test_far_out_the_full_field_is_a_wave_across_its_path() -> None:
    rng = np.random.default_rng(4)
    direction, moment = random_rotation(rng), rng.normal(size=3)
    wave_number = 1.0 / near_field_limit_m()
    for toward in direction:
        field = full_field_a_m(1e7 * toward, moment)
        across = moment - toward * (toward @ moment)
        wanted = wave_number**2 * np.abs(across) / (4.0 * np.pi * 1e7)
        assert np.allclose(np.abs(field), wanted, rtol=1e-4, atol=1e-4 * wanted.max())


def test_the_full_field_has_no_sources_and_obeys_the_wave_equation() -> None:
    point, moment, step_m = np.array([60.0, -45.0, 80.0]), np.array([0.3, 1.0, -0.7]), 0.05
    wave_number = 1.0 / near_field_limit_m()
    here = full_field_a_m(point, moment)
    ahead = [full_field_a_m(point + step_m * axis, moment) for axis in np.eye(3)]
    behind = [full_field_a_m(point - step_m * axis, moment) for axis in np.eye(3)]
    scale = magnitude_a_m(np.abs(here))
    divergence = sum((ahead[i][i] - behind[i][i]) / (2 * step_m) for i in range(3))
    assert abs(divergence) <= 1e-6 * scale
    curvature = sum((ahead[i] - 2 * here + behind[i]) / step_m**2 for i in range(3))
    # The second difference leaves rounding of 1e-16 / step^2 and the fourth derivative.
    assert np.all(np.abs(curvature + wave_number**2 * here) <= 1e-3 * wave_number**2 * scale)


def test_the_quasi_static_error_is_that_of_the_full_field_on_the_axis() -> None:
    distance_m = np.array([0.5, 2.0, 10.0, 40.0, 150.0])
    offset_m, moment = distance_m[:, None] * [0.0, 0.0, 1.0], np.array([0.0, 0.0, 1.0])
    full = magnitude_a_m(np.abs(full_field_a_m(offset_m, moment, CARRIER_HZ)))
    ratio = full / magnitude_a_m(field_a_m(offset_m, moment))
    assert np.allclose(ratio - 1.0, quasi_static_error(distance_m), rtol=1e-9, atol=1e-14)
