"""The character plan keeps its size, its directions and every sign."""

from __future__ import annotations

import re

from hypothesis import given, settings
from hypothesis import strategies as st

from blindfield.debrief.plan import Spot, area_of, grid_size, plan_lines, short_labels

places = st.tuples(st.floats(-20, 120), st.floats(-20, 120))


@settings(max_examples=60)
@given(st.lists(places, min_size=1, max_size=12), st.integers(16, 60), st.integers(6, 20))
def test_every_sign_is_shown_once_within_the_room(
    spots: list[tuple[float, float]], columns: int, rows: int
) -> None:
    signs = [Spot(x_m, y_m, f"#{place}") for place, (x_m, y_m) in enumerate(spots, 10)]
    area = area_of(signs)
    wide, high = grid_size(area, columns, rows)
    assert wide <= max(columns, 8)
    assert high <= max(rows, 3)
    lines = [line.plain for line in plan_lines(signs, area, wide, high, ".")]
    assert len(lines) == high
    assert {len(line) for line in lines} == {wide}
    shown = re.findall(r"#\d\d", " ".join(lines))
    if len(signs) <= high * (wide // 6):
        assert sorted(shown) == sorted(spot.sign for spot in signs)


def test_x_runs_to_the_right_and_y_upwards() -> None:
    spots = [Spot(0.0, 0.0, "a"), Spot(40.0, 0.0, "b"), Spot(0.0, 40.0, "c")]
    lines = [line.plain for line in plan_lines(spots, area_of(spots), 40, 20, " ")]
    row = {sign: next(i for i, line in enumerate(lines) if sign in line) for sign in "abc"}
    assert row["c"] < row["a"] == row["b"]
    assert lines[row["a"]].index("a") < lines[row["b"]].index("b")


def test_the_area_holds_the_corner_peg_when_it_is_near() -> None:
    near, far = area_of([Spot(5.0, 6.0, "a")]), area_of([Spot(500.0, 600.0, "a")])
    assert (near.left_m, near.bottom_m) == (0.0, 0.0)
    assert (far.left_m, far.bottom_m) == (497.0, 597.0)


def test_labels_are_names_when_those_are_short_and_numbers_when_not() -> None:
    assert short_labels(["7", "8", "12"]) == ["7", "8", "12"]
    assert short_labels(["2", "Larch"]) == ["1", "2"]
