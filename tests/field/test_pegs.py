"""Pegs, marks and base lines of plain grounds and of others."""

from __future__ import annotations

import dataclasses
import math

import pytest

from blindfield.field.pegs import (
    checks_of,
    half_way_marks,
    line_named,
    pegs_of,
    point_named,
    sides_of,
)
from blindfield.model.errors import ConfigError
from support.scenarios import small_field

PLAIN = small_field()
FIVE = dataclasses.replace(
    PLAIN, area_m=((5.0, 0.0), (50.0, 0.0), (40.0, 50.0), (10.0, 45.0), (0.0, 20.0))
)


def test_the_diagonals_of_the_default_field_are_its_published_length() -> None:
    diagonals = [check for check in checks_of(PLAIN) if check.is_diagonal]
    assert [check.begin + check.end for check in diagonals] == ["AC", "BD"]
    assert all(check.length_m == pytest.approx(70.711, abs=5e-4) for check in diagonals)


@pytest.mark.parametrize(("width_m", "height_m"), [(30.0, 40.0), (20.0, 21.0)])
def test_the_diagonal_of_any_plain_field(width_m: float, height_m: float) -> None:
    place = dataclasses.replace(PLAIN, width_m=width_m, height_m=height_m)
    lengths = [check.length_m for check in checks_of(place) if check.is_diagonal]
    assert lengths == pytest.approx([{30.0: 50.0, 20.0: 29.0}[width_m]] * 2)


def test_the_first_peg_gets_a_letter_and_two_ties_where_it_is_no_corner() -> None:
    assert pegs_of(FIVE)["O"] == (0.0, 0.0)
    assert pegs_of(FIVE)["A"] == (5.0, 0.0)
    ties = [check.end for check in checks_of(FIVE) if check.begin == "O"]
    assert ties == ["A", "E"]
    assert "O" not in pegs_of(PLAIN)


def test_sides_and_diagonals_fix_the_shape_of_any_ground() -> None:
    corners = 5
    shape = [check for check in checks_of(FIVE) if check.begin != "O"]
    assert len(shape) == 2 * corners - 3


@pytest.mark.parametrize("corners", [PLAIN.outline_m, tuple(reversed(PLAIN.outline_m))])
def test_an_offset_points_into_the_ground_whichever_way_round(
    corners: tuple[tuple[float, float], ...],
) -> None:
    place = dataclasses.replace(PLAIN, area_m=corners)
    for line in sides_of(place):
        for name in (line.name, line.name[::-1]):
            found = line_named(place, name)
            middle = [
                begin + along * found.length_m / 2 + across
                for begin, along, across in zip(
                    found.begin_m, found.along, found.across, strict=True
                )
            ]
            assert all(0 < value < 50 for value in middle), name


@pytest.mark.parametrize(
    ("text", "point"),
    [("a", (0, 0)), ("C", (50, 50)), ("ab25", (25, 0)), ("BC12,5", (50, 12.5)), ("AC 10", None)],
)
def test_points_have_names(text: str, point: tuple[float, float] | None) -> None:
    half = 10 / math.sqrt(2)
    assert point_named(PLAIN, text) == pytest.approx(point or (half, half))


@pytest.mark.parametrize(
    ("text", "says"),
    [("E", "A B C D"), ("AE3", "no peg"), ("AA3", "no peg"), ("", "no peg"), ("ab50.1", "50.00")],
)
def test_what_names_no_point_is_refused_with_the_pegs(text: str, says: str) -> None:
    with pytest.raises(ConfigError, match=says):
        point_named(PLAIN, text)


@pytest.mark.parametrize("text", ["AC", "AA", "AE", "A", "OA", ""])
def test_only_a_side_is_a_base_line(text: str) -> None:
    with pytest.raises(ConfigError, match="no side"):
        line_named(FIVE if text == "OA" else PLAIN, text)


def test_half_way_marks_lie_half_way() -> None:
    assert half_way_marks(PLAIN) == ("AB25", "BC25", "CD25", "DA25")
    assert point_named(PLAIN, "DA25") == (0.0, 25.0)


def test_a_ground_of_very_many_corners_has_letters_for_the_first() -> None:
    angles = [2 * math.pi * n / 40 for n in range(40)]
    ring = tuple((25 + 20 * math.cos(a), 25 + 20 * math.sin(a)) for a in angles)
    place = dataclasses.replace(PLAIN, area_m=ring)
    assert len(pegs_of(place)) == 26
    assert len(sides_of(place)) == 24
    assert len({check.begin + check.end for check in checks_of(place)}) > 24
