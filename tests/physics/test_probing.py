"""Spirals without gaps, and the chance that a grid of strokes hits what lies anyhow."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blindfield.physics.probing import (
    LYING,
    PERSON,
    UPRIGHT,
    Outline,
    Posture,
    Shape,
    body_detection,
    grid_detection,
    inside,
    spiral_m,
    strokes_to_hit,
)

AVERAGE_ERROR = 0.004  # of grid_detection's midpoints, as its docstring says, and a little
steps_m = st.floats(0.05, 0.6)
radii_m = st.floats(0.0, 2.0)


def farthest_from_stroke_m(strokes_m: np.ndarray, points_m: np.ndarray) -> float:
    return float(np.hypot(*(points_m[:, None] - strokes_m[None]).T).min(axis=0).max())


@given(steps_m, radii_m, st.integers(0, 2**32 - 1))
def test_no_point_of_the_disc_is_farther_than_half_a_diagonal_from_a_stroke(
    step_m: float, radius_m: float, seed: int
) -> None:
    random = np.random.default_rng(seed)
    angle = random.uniform(0, 2 * math.pi, 400)
    reach = radius_m * np.sqrt(np.append(random.uniform(size=300), np.ones(100)))  # and the rim
    points_m = np.stack([reach * np.cos(angle), reach * np.sin(angle)], axis=-1)
    strokes_m = spiral_m(step_m, radius_m)
    assert farthest_from_stroke_m(strokes_m, points_m) <= step_m / math.sqrt(2) + 1e-9
    assert np.hypot(*strokes_m.T).max() <= radius_m + step_m / math.sqrt(2) + 1e-9


def test_the_half_diagonal_is_reached_so_no_smaller_bound_holds() -> None:
    corner_m = np.array([[0.125, 0.125]])
    assert farthest_from_stroke_m(spiral_m(0.25, 0.5), corner_m) == pytest.approx(
        0.25 / math.sqrt(2)
    )


@given(steps_m, radii_m)
def test_a_spiral_goes_outwards_ring_by_ring_and_never_twice(
    step_m: float, radius_m: float
) -> None:
    cells = np.rint(spiral_m(step_m, radius_m) / step_m)
    assert np.array_equal(cells[0], [0, 0])
    assert np.all(np.diff(np.abs(cells).max(axis=1)) >= 0)
    assert len(np.unique(cells, axis=0)) == len(cells)


@given(steps_m, radii_m)
def test_every_stroke_is_needed(step_m: float, radius_m: float) -> None:
    strokes_m = spiral_m(step_m, radius_m)
    nearest_m = strokes_m - np.clip(strokes_m, -step_m / 2, step_m / 2)
    assert np.hypot(*nearest_m.T).max() <= radius_m + 1e-9


def test_neighbours_in_a_spiral_are_one_step_apart_while_the_rings_are_whole() -> None:
    strokes_m = spiral_m(0.25, 0.6)[:25]  # the middle and two whole rings
    assert np.allclose(np.hypot(*np.diff(strokes_m, axis=0).T), 0.25)
    assert len(spiral_m(0.25, 0.0)) == 1


def test_an_azimuth_turns_clockwise_from_the_y_axis() -> None:
    outline = Outline("rectangle", 2.0, 0.2)
    points_m = np.array([[0.9, 0.0], [0.0, 0.9], [0.6, 0.6], [0.6, -0.6]])
    assert inside(points_m, outline, 0.0).tolist() == [False, True, False, False]
    assert inside(points_m, outline, 90.0).tolist() == [True, False, False, False]
    assert inside(points_m, outline, 45.0).tolist() == [False, False, True, False]


@pytest.mark.parametrize("shape", ["ellipse", "rectangle"])
def test_area_and_reach_are_those_of_the_points_inside(shape: Shape) -> None:
    outline = Outline(shape, 1.2, 0.5)
    side = np.linspace(-0.7, 0.7, 701)
    points_m = np.stack(np.meshgrid(side, side), axis=-1)
    hit = inside(points_m, outline, 30.0)
    assert hit.sum() * (side[1] - side[0]) ** 2 == pytest.approx(outline.area_m2, rel=0.01)
    assert np.hypot(*points_m[hit].T).max() == pytest.approx(outline.reach_m, abs=0.004)


def test_strokes_are_counted_to_the_first_hit() -> None:
    outline = Outline("rectangle", 0.6, 0.3)
    random = np.random.default_rng(5)
    middle_m, azimuth_deg = random.uniform(-0.8, 0.8, (200, 2)), random.uniform(0, 360, 200)
    strokes_m = spiral_m(0.25, 0.5)
    counted = strokes_to_hit(strokes_m, outline, middle_m, azimuth_deg)
    for middle, azimuth, count in zip(middle_m, azimuth_deg, counted, strict=True):
        hits = [bool(inside(stroke - middle, outline, azimuth)) for stroke in strokes_m]
        assert count == (hits.index(True) + 1 if any(hits) else 0)
    assert {0, 1} < set(counted.tolist())


@pytest.mark.parametrize("shape", ["ellipse", "rectangle"])
@pytest.mark.parametrize(("length_m", "width_m"), [(0.45, 0.2), (0.3, 0.3)])
def test_where_two_strokes_cannot_hit_the_chance_is_the_share_of_the_area(
    shape: Shape, length_m: float, width_m: float
) -> None:
    outline = Outline(shape, length_m, width_m)
    assert 2 * outline.reach_m < 0.5
    chance = grid_detection(outline, 0.5, 0.7)
    assert chance == pytest.approx(outline.area_m2 / 0.35, abs=AVERAGE_ERROR)


def test_a_disc_wider_than_the_diagonal_of_a_cell_is_always_hit_and_a_smaller_one_not() -> None:
    diagonal_m = math.hypot(0.5, 0.7)
    assert grid_detection(Outline("ellipse", diagonal_m, diagonal_m), 0.5, 0.7) == 1.0
    assert grid_detection(Outline("ellipse", 0.8, 0.8), 0.5, 0.7) < 1.0


@pytest.mark.parametrize("outline", [Outline("ellipse", 1.7, 0.3), LYING, UPRIGHT])
def test_the_average_agrees_with_bodies_thrown_at_random(outline: Outline) -> None:
    random = np.random.default_rng(11)
    count, across_m, along_m = 40_000, 0.75, 0.7
    middle_m = random.uniform(0, 1, (count, 2)) * [across_m, along_m]
    azimuth_deg = random.uniform(0, 360, count)
    strokes_m = np.array([[i * across_m, j * along_m] for i in range(-2, 4) for j in range(-2, 4)])
    thrown = (strokes_to_hit(strokes_m, outline, middle_m, azimuth_deg) > 0).mean()
    three_sigma = 3 * math.sqrt(0.25 / count)
    chance = grid_detection(outline, across_m, along_m)
    assert chance == pytest.approx(thrown, abs=three_sigma + AVERAGE_ERROR)


def test_a_wider_grid_finds_less_and_the_way_it_is_turned_does_not_matter() -> None:
    chances = [grid_detection(LYING, 0.5 * wide, 0.5 * wide) for wide in (1.0, 1.5, 2.0, 3.0)]
    assert chances == sorted(chances, reverse=True)
    assert chances[-1] < 0.5 * chances[0]
    turned = grid_detection(LYING, 0.7, 0.75)
    assert turned == pytest.approx(grid_detection(LYING, 0.75, 0.7), abs=AVERAGE_ERROR)


def test_a_body_is_the_average_of_its_postures() -> None:
    chance = body_detection(PERSON, 0.6, 0.7)
    parts = [posture.share * grid_detection(posture.outline, 0.6, 0.7) for posture in PERSON]
    assert chance == pytest.approx(sum(parts))
    assert parts[0] / PERSON[0].share > chance > parts[1] / PERSON[1].share


@pytest.mark.parametrize(
    ("step_m", "radius_m"),
    [(0.0, 1.0), (-0.25, 1.0), (math.nan, 1.0), (0.25, -0.1), (0.25, math.inf), (1e-4, 1.0)],
)
def test_an_impossible_spiral_is_refused(step_m: float, radius_m: float) -> None:
    with pytest.raises(ValueError, match=r"step_m|radius_m"):
        spiral_m(step_m, radius_m)


def test_impossible_outlines_grids_and_shares_are_refused() -> None:
    with pytest.raises(ValueError, match="width_m = 0"):
        Outline("ellipse", 1.0, 0.0)
    with pytest.raises(ValueError, match="ellipse or a rectangle"):
        Outline("star", 1.0, 1.0)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match=r"along_m = -0\.5"):
        grid_detection(LYING, 0.5, -0.5)
    with pytest.raises(ValueError, match="add up to 1"):
        body_detection((Posture(LYING, 0.5),), 0.5, 0.5)
