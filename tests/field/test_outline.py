"""Outlines of grounds that are no rectangles."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blindfield.field.outline import area_m2, fault_of_outline, is_inside

L_SHAPE = [(0.0, 0.0), (50.0, 0.0), (50.0, 20.0), (20.0, 20.0), (20.0, 50.0), (0.0, 50.0)]


def test_the_area_of_an_l_shape_in_either_direction() -> None:
    assert area_m2(L_SHAPE) == area_m2(L_SHAPE[::-1]) == 50 * 20 + 20 * 30


@pytest.mark.parametrize(
    ("corners", "fault"),
    [
        (L_SHAPE, ""),
        ([(0, 0), (10, 10), (10, 0), (0, 10)], "side 1 and side 3 meet"),
        ([(0, 0), (10, 0), (10, 10), (0, 0)], "a corner twice"),
        ([(0, 0), (10, 0), (20, 0)], "less than 1 square metre"),
        ([(0, 0), (10, 0), (10, 10), (5, 0), (0, 10)], "meet"),  # touches the first side
    ],
)
def test_what_is_wrong_with_an_outline(corners: list[tuple[float, float]], fault: str) -> None:
    found = fault_of_outline(corners)
    assert fault in found
    assert bool(found) == bool(fault)


def test_inside_and_outside_of_an_l_shape() -> None:
    assert is_inside(L_SHAPE, (45.0, 10.0))
    assert is_inside(L_SHAPE, (10.0, 45.0))
    assert not is_inside(L_SHAPE, (30.0, 30.0))
    assert not is_inside(L_SHAPE, (-1.0, 10.0))


@given(st.integers(3, 12), st.floats(0.5, 40.0), st.floats(0.0, 6.3))
def test_a_regular_polygon_holds_its_middle_and_not_a_far_point(
    count: int, radius_m: float, turn: float
) -> None:
    corners = [
        (
            radius_m * math.cos(turn + math.tau * k / count),
            radius_m * math.sin(turn + math.tau * k / count),
        )
        for k in range(count)
    ]
    assert is_inside(corners, (0.0, 0.0))
    assert not is_inside(corners, (2.0 * radius_m, 0.1))
    expected = count * radius_m**2 * math.sin(math.tau / count) / 2
    assert area_m2(corners) == pytest.approx(expected, rel=1e-9)
