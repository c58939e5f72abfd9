"""Search strips, micro search strips and three circles reach what they are meant to reach."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blindfield.searcher.paths import (
    CIRCLE_RADII_M,
    MICRO_REACH_M,
    MICRO_STRIP_M,
    Path,
    micro_strips,
    search_strips,
    three_circles,
)
from blindfield.searcher.problem import EXAMPLE

SIZE_M = st.floats(5.0, 120.0)
SHARE = st.floats(0.0, 1.0)
SPACING_M = 0.5


def walked(path: Path, share: float = 1.0) -> np.ndarray:
    """Points (n, 2) at least every half metre of a share of the path."""
    along_m = np.linspace(0.0, path.length_m * share * (1 - 1e-9), int(path.length_m / 0.5) + 2)
    return np.stack(path.at(along_m), axis=-1)


def farthest_m(points: np.ndarray, places: np.ndarray) -> float:
    apart = points[None, :, :] - places[:, None, :]
    return float(np.hypot(apart[..., 0], apart[..., 1]).min(axis=1).max())


@given(SIZE_M, SIZE_M, SHARE, SHARE, st.floats(3.0, 60.0))
@settings(max_examples=30)
def test_strips_leave_no_place_farther_than_half_their_width(
    width_m: float, height_m: float, x: float, y: float, strip_m: float
) -> None:
    problem = replace(
        EXAMPLE, width_m=width_m, height_m=height_m, start_x_m=x * width_m, start_y_m=y * height_m
    )
    points = walked(search_strips(problem, strip_m))
    across, along = np.meshgrid(np.linspace(0, width_m, 12), np.linspace(0, height_m, 12))
    places = np.stack([across.ravel(), along.ravel()], axis=-1)
    assert farthest_m(points, places) <= strip_m / 2 + SPACING_M
    assert points.min() >= -1e-9
    assert (points <= np.array([width_m, height_m]) + 1e-9).all()


def test_the_first_strip_is_walked_from_the_start_to_the_far_edge() -> None:
    path = search_strips(replace(EXAMPLE, start_x_m=10.0), 20.0)
    corners = [path.at(np.array([m])) for m in (0.0, 10.0 - 50.0 / 6, 10.0 - 50.0 / 6 + 50.0)]
    at = [(float(x[0]), float(y[0])) for x, y in corners]
    assert at == [
        pytest.approx((10.0, 0.0)),
        pytest.approx((50.0 / 6, 0.0)),
        pytest.approx((50.0 / 6, 50.0)),
    ]


def test_wider_strips_are_fewer() -> None:
    lengths = [search_strips(EXAMPLE, width).length_m for width in (10.0, 20.0, 40.0)]
    assert lengths[0] > lengths[1] > lengths[2] > 100.0


def test_circles_have_their_radii_and_end_where_they_began() -> None:
    path = three_circles()
    radius_m = np.hypot(*walked(path).T)
    for radius in CIRCLE_RADII_M:
        assert (np.abs(radius_m - radius) < 0.1).mean() > 0.1
    assert radius_m.max() <= max(CIRCLE_RADII_M) + 1e-9
    assert path.length_m == pytest.approx(2 * np.pi * 18 + 18, rel=0.01)
    assert np.stack(path.at(np.array([path.length_m]))) == pytest.approx(0.0)


def test_micro_strips_leave_nothing_farther_than_half_their_distance() -> None:
    across, along = np.meshgrid(*[np.linspace(-MICRO_REACH_M, MICRO_REACH_M, 17)] * 2)
    places = np.stack([across.ravel(), along.ravel()], axis=-1)
    assert farthest_m(walked(micro_strips()), places) <= MICRO_STRIP_M / 2 + SPACING_M


def test_a_path_without_length_stays_where_it_is() -> None:
    x_m, y_m = Path(np.array([[1.0, 2.0], [1.0, 2.0]])).at(np.array([0.0, 5.0]))
    assert x_m.tolist() == [1.0, 1.0]
    assert y_m.tolist() == [2.0, 2.0]
