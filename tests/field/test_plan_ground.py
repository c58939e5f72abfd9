"""The places a plan may use."""

from __future__ import annotations

import numpy as np
import pytest

from blindfield.field.outline import is_inside
from blindfield.field.plan_ground import Ground, inside, segment_distance_m, sides_distance_m
from blindfield.model.errors import ConfigError
from blindfield.model.field import Point, StartPoint

SQUARE: tuple[Point, ...] = ((0.0, 0.0), (20.0, 0.0), (20.0, 20.0), (0.0, 20.0))
BENT: tuple[Point, ...] = (
    (0.0, 0.0),
    (30.0, 0.0),
    (30.0, 10.0),
    (12.0, 10.0),
    (12.0, 25.0),
    (0.0, 25.0),
)
NONE_M = np.empty((0, 2))


def test_inside_for_arrays_is_inside_for_points() -> None:
    points = np.random.default_rng(3).uniform(-5, 35, (400, 2))
    expected = [is_inside(BENT, (float(x), float(y))) for x, y in points]
    assert inside(BENT, points).tolist() == expected


def test_distance_from_a_side_and_from_its_ends() -> None:
    points = np.array([[5.0, 3.0], [-4.0, 3.0], [13.0, 4.0]])
    assert segment_distance_m((0.0, 0.0), (10.0, 0.0), points) == pytest.approx([3.0, 5.0, 5.0])


def test_every_place_keeps_off_rim_and_keep_outs() -> None:
    keep_out: tuple[Point, ...] = ((4.0, 4.0), (9.0, 4.0), (9.0, 20.0), (4.0, 20.0))
    ground = Ground(BENT, (keep_out,))
    places = ground.places_m
    assert len(places) > 500
    assert inside(BENT, places).all()
    assert (sides_distance_m(BENT, places) >= 1.0 - 1e-9).all()
    assert not inside(keep_out, places).any()
    assert (sides_distance_m(keep_out, places) >= 1.0 - 1e-9).all()
    assert (places % ground.step_m == 0).all()


def test_snapping_goes_to_the_nearest_place() -> None:
    ground = Ground(BENT, (((4.0, 4.0), (9.0, 4.0), (9.0, 20.0), (4.0, 20.0)),))
    points = np.round(np.random.default_rng(1).uniform(0, 30, (200, 2)) * 2) / 2
    snapped = ground.snapped(points)
    nearest = np.hypot(*np.moveaxis(points[:, None] - ground.places_m, -1, 0)).min(axis=1)
    grid = np.clip(points, 0, [30.0, 25.0])
    from_grid = np.hypot(*np.moveaxis(grid[:, None] - ground.places_m, -1, 0)).min(axis=1)
    assert np.hypot(*(snapped - grid).T) == pytest.approx(from_grid)
    assert (np.hypot(*(snapped - points).T) >= nearest - 1e-9).all()


def test_a_very_large_ground_is_taken_by_coarser_steps() -> None:
    assert Ground().step_m == 0.5
    large = Ground(((0.0, 0.0), (400.0, 0.0), (400.0, 300.0), (0.0, 300.0)))
    assert large.step_m == 1.0


def test_the_longest_way_is_the_diagonal() -> None:
    assert Ground(SQUARE).longest_m == pytest.approx(18.0 * 2**0.5)


def test_room_counts_what_fits_beside_what_lies() -> None:
    ground = Ground(SQUARE)
    assert ground.room_found(30.0, NONE_M) == 1
    assert ground.room_found(9.0, NONE_M) >= 7
    assert ground.room_found(9.0, np.array([[10.0, 10.0]])) < ground.room_found(9.0, NONE_M)
    assert ground.room_found(30.0, np.array([[10.0, 10.0]])) == 0


@pytest.mark.parametrize("separation_m", [3.0, 9.0, 12.0, 18.0, 30.0])
def test_no_more_fit_than_at_most(separation_m: float) -> None:
    ground = Ground(SQUARE)
    most = ground.room_at_most(separation_m)
    assert ground.room_found(separation_m, NONE_M) <= most
    square = (int(18.0 / separation_m) + 1) ** 2  # rows and columns fit, whatever the scan finds
    assert square <= most


def test_as_many_fit_at_most_as_the_densest_rows_hold() -> None:
    rows = [(1.0 + 3.5 * row, 1.0 if row % 2 == 0 else 3.0) for row in range(14)]
    packed = np.array([(x, y) for y, first in rows for x in np.arange(first, 49.5, 4.0)])
    apart_m = np.hypot(*np.moveaxis(packed[:, None] - packed, -1, 0))
    assert apart_m[np.triu_indices(len(packed), 1)].min() >= 4.0
    assert Ground().room_at_most(4.0) >= len(packed) == 175


def test_four_flags_of_a_square_stand_in_the_middle_of_its_sides() -> None:
    flags = Ground(SQUARE).flags(4)
    assert [(flag.x_m, flag.y_m) for flag in flags] == [(10, 0), (20, 10), (10, 20), (0, 10)]
    assert [Ground(SQUARE).outward_deg(flag) for flag in flags] == [180.0, 90.0, 0.0, 270.0]


def test_flags_of_any_ground_stand_on_its_rim() -> None:
    ground = Ground(BENT)
    for flag in ground.flags(7):
        assert sides_distance_m(BENT, np.array([flag.x_m, flag.y_m])) < 0.1
    assert ground.outward_deg(StartPoint("bay", 12.0, 20.0)) == 90.0
    assert ground.outward_deg(StartPoint("middle", 6.0, 6.0)) is None


def test_the_way_round_the_rim_is_measured_from_the_first_corner() -> None:
    ground = Ground(SQUARE)
    walked = [
        ground.along_m(point) for point in ((5.0, 0.0), (20.0, 5.0), (15.0, 20.0), (0.0, 5.0))
    ]
    assert walked == pytest.approx([5.0, 25.0, 45.0, 75.0])


@pytest.mark.parametrize(
    ("outline", "keep_outs", "said"),
    [
        (((0.0, 0.0), (10.0, 0.0)), (), "open"),
        (((0.0, 0.0), (50.0, 50.0), (50.0, 0.0), (0.0, 50.0)), (), "crosses itself"),
        (((0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (0.0, 4.0)), (), "too small"),
        (((0.0, 0.0), (100.0, 0.0), (100.0, 1.5), (0.0, 1.5)), (), "too small"),
        (((0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 0.0)), (), "a corner twice"),
        (((-5.0, 0.0), (20.0, 0.0), (20.0, 20.0)), (), "below zero"),
        (((0.0, 0.0), (900.0, 0.0), (20.0, 20.0)), (), "longer than"),
        (SQUARE, (SQUARE,), "leave no place"),
        (SQUARE, (((1.0, 1.0), (2.0, 2.0)),), "keep-out 1 is open"),
    ],
)
def test_a_ground_that_is_none_is_refused(
    outline: tuple[Point, ...], keep_outs: tuple[tuple[Point, ...], ...], said: str
) -> None:
    with pytest.raises(ConfigError, match=said):
        Ground(outline, keep_outs)


@pytest.mark.parametrize("count", [0, -1, 99])
def test_a_number_of_flags_that_cannot_be_is_refused(count: int) -> None:
    with pytest.raises(ConfigError):
        Ground().flags(count)
