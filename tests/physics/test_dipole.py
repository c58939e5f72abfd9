"""The dipole's field keeps the laws that any dipole's field keeps, and refuses what has none."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blindfield.physics.arrays import Floats
from blindfield.physics.dipole import (
    field_a_m,
    field_at,
    flux_direction,
    magnitude_a_m,
    moment_of,
)
from support.rotations import random_offsets, random_rotation

ROUNDING = 1e-12  # relative, of double precision over a few operations
DIFFERENCE = 1e-6  # relative, of central differences at a step of 1e-4 of the distance

seeds = st.integers(0, 2**32 - 1)


def draw(seed: int, count: int = 20) -> tuple[np.random.Generator, Floats, Floats]:
    rng = np.random.default_rng(seed)
    return rng, random_offsets(rng, count), rng.normal(size=(count, 3))


def assert_close(found: Floats, wanted: Floats, tolerance: float = ROUNDING) -> None:
    wrong = magnitude_a_m(found - wanted) / magnitude_a_m(wanted)
    assert float(wrong.max()) <= tolerance


@given(seeds, st.floats(0.01, 100.0))
def test_the_field_falls_with_the_cube_of_the_distance(seed: int, times: float) -> None:
    _, offset_m, moment = draw(seed)
    assert_close(field_a_m(times * offset_m, moment) * times**3, field_a_m(offset_m, moment))


@given(seeds)
def test_turning_everything_turns_the_field(seed: int) -> None:
    rng, offset_m, moment = draw(seed)
    turn = random_rotation(rng)
    turned = field_a_m(offset_m @ turn.T, moment @ turn.T)
    assert_close(turned, field_a_m(offset_m, moment) @ turn.T)


@given(seeds, st.floats(-50.0, 50.0))
def test_the_field_is_linear_in_the_moment(seed: int, times: float) -> None:
    rng, offset_m, moment = draw(seed)
    other = rng.normal(size=moment.shape)
    parts = field_a_m(offset_m, moment) + times * field_a_m(offset_m, other)
    wrong = magnitude_a_m(field_a_m(offset_m, moment + times * other) - parts)
    scale = magnitude_a_m(moment) + abs(times) * magnitude_a_m(other)
    assert np.all(wrong <= ROUNDING * scale / magnitude_a_m(offset_m) ** 3)


@given(seeds)
def test_the_field_has_no_sources_and_no_curl(seed: int) -> None:
    _, offset_m, moment = draw(seed)
    step_m = 1e-4 * magnitude_a_m(offset_m)[:, None]
    slopes = np.stack(
        [
            (
                field_a_m(offset_m + step_m * axis, moment)
                - field_a_m(offset_m - step_m * axis, moment)
            )
            / (2.0 * step_m)
            for axis in np.eye(3)
        ],
        axis=-1,
    )  # [..., component, along]
    scale = np.abs(slopes).max(axis=(-2, -1))
    assert np.all(np.abs(np.trace(slopes, axis1=-2, axis2=-1)) <= DIFFERENCE * scale)
    assert np.all(np.abs(slopes - np.swapaxes(slopes, -2, -1)).max((-2, -1)) <= DIFFERENCE * scale)


@given(seeds)
def test_the_magnitude_follows_the_angle_off_the_axis(seed: int) -> None:
    _, offset_m, moment = draw(seed)
    distance_m, strength = magnitude_a_m(offset_m), magnitude_a_m(moment)
    cosine = np.sum(offset_m * moment, axis=-1) / (distance_m * strength)
    wanted = strength / (4 * np.pi * distance_m**3) * np.sqrt(1 + 3 * cosine**2)
    found = magnitude_a_m(field_a_m(offset_m, moment))
    assert np.all(np.abs(found - wanted) <= ROUNDING * wanted)


@given(seeds)
def test_flux_directions_are_unit_vectors_along_the_field(seed: int) -> None:
    _, offset_m, moment = draw(seed)
    field = field_a_m(offset_m, moment)
    direction = flux_direction(field)
    assert np.allclose(magnitude_a_m(direction), 1.0, rtol=ROUNDING)
    assert_close(direction * magnitude_a_m(field)[:, None], field)


def test_one_moment_serves_many_points_and_one_point_many_moments() -> None:
    rng = np.random.default_rng(5)
    points, moments = random_offsets(rng, 4), rng.normal(size=(5, 3))
    crossed = field_a_m(points[:, None, :], moments)
    assert crossed.shape == (4, 5, 3)
    for row, point in enumerate(points):
        for column, moment in enumerate(moments):
            assert np.array_equal(crossed[row, column], field_a_m(point, moment))


def test_a_checked_field_is_the_kernel_of_the_offset() -> None:
    rng = np.random.default_rng(6)
    points, source, moment = rng.normal(size=(7, 3)), rng.normal(size=3), rng.normal(size=3)
    assert np.array_equal(field_at(points, source, moment), field_a_m(points - source, moment))


@pytest.mark.parametrize(
    ("azimuth_deg", "tilt_deg", "wanted"),
    [
        (0.0, 0.0, (0.0, 1.0, 0.0)),
        (90.0, 0.0, (1.0, 0.0, 0.0)),
        (225.0, 0.0, (-(0.5**0.5), -(0.5**0.5), 0.0)),
        (17.0, 90.0, (0.0, 0.0, 1.0)),
        (90.0, 30.0, (0.75**0.5, 0.0, 0.5)),
    ],
)
def test_azimuth_is_clockwise_from_y_and_tilt_above_the_horizontal(
    azimuth_deg: float, tilt_deg: float, wanted: tuple[float, float, float]
) -> None:
    assert np.allclose(moment_of(2.0, azimuth_deg, tilt_deg), 2.0 * np.array(wanted), atol=1e-15)


def test_moments_broadcast_over_strength_azimuth_and_tilt() -> None:
    moments = moment_of(np.array([1.0, 2.0]), np.zeros((3, 1)), 45.0)
    assert moments.shape == (3, 2, 3)
    assert np.allclose(magnitude_a_m(moments), [1.0, 2.0])


@pytest.mark.parametrize(
    ("points", "source", "moment", "says"),
    [
        ([[0, 0, 0], [1, 2, -1]], [1, 2, -1], [0, 0, 1], "lies on the dipole"),
        ([[0, 0, 0]], [1, 2, -1], [0, 0, 0], "zero moment"),
        ([[0, 0, 0]], [1, 2, -1], [[0, 0, 1], [0, 0, 0]], "zero moment"),
        ([[0, 0]], [1, 2, -1], [0, 0, 1], "three components"),
        ([[0, 0, 0]], [1, 2, -1], 1.0, "three components"),
        ([[0, 0, float("nan")]], [1, 2, -1], [0, 0, 1], "finite"),
        ([[0, 0, 0]], [1, 2, float("inf")], [0, 0, 1], "finite"),
    ],
)
def test_what_has_no_field_is_refused(
    points: object, source: object, moment: object, says: str
) -> None:
    with pytest.raises(ValueError, match=says):
        field_at(points, source, moment)  # type: ignore[arg-type]
