"""A small character plan of the field: who lies where."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rich.text import Text

from blindfield.debrief.lanes import line_of
from blindfield.model.area import Area

# A character cell is about twice as high as wide.
CELL_ASPECT = 2.0
_MARGIN_M = 3.0


@dataclass(frozen=True)
class Spot:
    """A sign of a few characters at a place; earlier ones are placed first."""

    x_m: float
    y_m: float
    sign: str
    style: str = ""


def short_labels(names: Sequence[str]) -> list[str]:
    """A label of at most two characters for each name: the names themselves, or else numbers."""
    if all(0 < len(name) <= 2 and name.isascii() for name in names):
        return list(names)
    return [str(place) for place in range(1, len(names) + 1)]


def area_of(spots: Sequence[Spot]) -> Area:
    """The least area with a margin that holds all spots; the origin peg is never left far out."""
    xs, ys = [spot.x_m for spot in spots] or [0.0], [spot.y_m for spot in spots] or [0.0]
    return Area(
        min(0.0, *xs) if min(xs) < _MARGIN_M * 3 else min(xs) - _MARGIN_M,
        min(0.0, *ys) if min(ys) < _MARGIN_M * 3 else min(ys) - _MARGIN_M,
        max(xs) + _MARGIN_M,
        max(ys) + _MARGIN_M,
    )


def grid_size(area: Area, columns: int, rows: int) -> tuple[int, int]:
    """The largest (columns, rows) within the room given that keeps the area's shape."""
    by_height = int(rows * CELL_ASPECT * area.width_m / area.height_m)
    if by_height <= columns:
        return max(8, by_height), rows
    return columns, max(3, int(columns / CELL_ASPECT * area.height_m / area.width_m))


def plan_lines(
    spots: Sequence[Spot], area: Area, columns: int, rows: int, ground: str
) -> list[Text]:
    """`rows` lines of `columns` characters, y upwards. A sign whose place is taken moves aside."""
    grid = [[(" ", "dim")] * columns for _ in range(rows)]
    for row in range(0, rows, 2):
        for column in range(0, columns, 4):
            grid[row][column] = (ground, "dim")
    taken: set[tuple[int, int]] = set()
    for spot in spots:
        row, column = _free(spot, area, columns, rows, taken)
        for offset, character in enumerate(spot.sign):
            grid[row][column + offset] = (character, spot.style)
            taken.add((row, column + offset))
    return [line_of(cells) for cells in grid]


def _free(
    spot: Spot, area: Area, columns: int, rows: int, taken: set[tuple[int, int]]
) -> tuple[int, int]:
    """The free place nearest to the spot's own, its own when the plan is full."""
    size = len(spot.sign)
    x = (spot.x_m - area.left_m) / area.width_m
    y = (spot.y_m - area.bottom_m) / area.height_m
    row = max(0, min(rows - 1, int((1 - y) * rows)))
    column = max(0, min(columns - size, int(x * columns)))
    places = [
        (abs(r - row) * CELL_ASPECT + abs(c - column), r, c)
        for r in range(rows)
        for c in range(columns - size + 1)
        if not any((r, c + offset) in taken for offset in range(size))
    ]
    _, row, column = min(places, default=(0.0, row, column))
    return row, column
