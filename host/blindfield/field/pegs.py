"""The points that a tape starts from: pegs, marks along the sides, sides as base lines.

Pegs have letters: A, B, C ... are the corners of the ground in the order of its outline (of a
plain field: A the first peg, B the end of the width, C across, D the end of the height). O is the
first peg where it is no corner. AB12.5 is the mark 12.5 m from A on the tape laid to B.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from itertools import combinations, pairwise

from blindfield.field.outline import is_inside
from blindfield.model.errors import ConfigError
from blindfield.model.field import Field, Point

LETTERS = "ABCDEFGHIJKLMNPQRSTUVWXYZ"  # without O, the first peg
_ORIGIN = (0.0, 0.0)
_MARK = re.compile(r"([A-Z]) ?([A-Z]) ?(\d+(?:[.,]\d+)?)")
_INWARD_M = 0.01


@dataclass(frozen=True)
class Line:
    """A base line: `along` and `across` are unit vectors, `across` points into the ground."""

    name: str
    begin_m: Point
    along: Point
    across: Point
    length_m: float


@dataclass(frozen=True)
class Check:
    """A distance between two pegs that must come out when the ground was pegged rightly."""

    begin: str
    end: str
    length_m: float
    is_diagonal: bool


def pegs_of(place: Field) -> dict[str, Point]:
    """Letter -> place of each peg; corners beyond the 25th have none."""
    pegs = dict(zip(LETTERS, place.outline_m, strict=False))
    return pegs if _ORIGIN in pegs.values() else {"O": _ORIGIN, **pegs}


def sides_of(place: Field) -> tuple[Line, ...]:
    """Each side of the ground between two pegs with letters, walked in the outline's order."""
    names = [name for name in pegs_of(place) if name != "O"]
    closed = names if len(place.outline_m) > len(names) else [*names, names[0]]
    return tuple(line_named(place, begin + end) for begin, end in pairwise(closed))


def is_line(place: Field, text: str) -> bool:
    """Whether the text is two letters of pegs."""
    pegs = pegs_of(place)
    return len(text) == 2 and text[0].upper() in pegs and text[1].upper() in pegs


def line_named(place: Field, text: str) -> Line:
    """The base line from one peg to the next, such as AB, or BA walked back.

    Raises ConfigError unless the two are neighbours: only a side has an inside.
    """
    pegs = pegs_of(place)
    name = text.upper()
    if not is_line(place, name) or not _are_neighbours(place, name):
        sides = " ".join(line.name for line in sides_of(place)) if name else ""
        raise ConfigError(f'"{text}" is no side of this field.', remedy=f"Its sides: {sides}.")
    (ax, ay), (bx, by) = pegs[name[0]], pegs[name[1]]
    length_m = math.hypot(bx - ax, by - ay)
    ux, uy = (bx - ax) / length_m, (by - ay) / length_m
    middle = ((ax + bx) / 2 - uy * _INWARD_M, (ay + by) / 2 + ux * _INWARD_M)
    left = 1.0 if is_inside(place.outline_m, middle) else -1.0
    return Line(name, (ax, ay), (ux, uy), (-uy * left, ux * left), length_m)


def point_named(place: Field, text: str) -> Point:
    """A peg (A) or a mark on a tape laid from one to another (AB12.5).

    Raises ConfigError, with the pegs that there are.
    """
    pegs = pegs_of(place)
    name = text.strip().upper()
    if name in pegs:
        return pegs[name]
    mark = _MARK.fullmatch(name)
    if mark is None or mark[1] not in pegs or mark[2] not in pegs or mark[1] == mark[2]:
        raise ConfigError(
            f'this field has no peg "{text}".',
            remedy=f"Its pegs: {' '.join(pegs)}. AB12.5 is the mark 12.5 m from A towards B.",
        )
    (ax, ay), (bx, by) = pegs[mark[1]], pegs[mark[2]]
    way_m, length_m = float(mark[3].replace(",", ".")), math.dist((ax, ay), (bx, by))
    if way_m > length_m:
        raise ConfigError(
            f"{name}: from {mark[1]} to {mark[2]} it is only {length_m:.2f} m.",
            remedy="Name a mark between the two pegs.",
        )
    return ax + (bx - ax) * way_m / length_m, ay + (by - ay) * way_m / length_m


def half_way_marks(place: Field) -> tuple[str, ...]:
    """The middle of each side as a mark, to the centimetre: AB25."""
    return tuple(f"{line.name}{round(line.length_m / 2, 2):g}" for line in sides_of(place))


def checks_of(place: Field) -> tuple[Check, ...]:
    """The sides and the diagonals to tape once the pegs stand.

    Sides alone leave a ground that leans; of a ground with n corners, n - 3 diagonals from the
    first fix its shape, and of four corners the second diagonal checks the first. For a plain
    field the diagonal is sqrt(width^2 + height^2): 70.71 m for 50 m.
    """
    pegs = pegs_of(place)
    corners = [name for name in pegs if name != "O"]
    sides = [line.name for line in sides_of(place)]
    diagonals = [
        begin + end
        for begin, end in combinations(corners, 2)
        if not _are_neighbours(place, begin + end) and (begin == "A" or len(corners) == 4)
    ]
    ties = [f"O{name}" for name in _nearest(pegs, corners)] if "O" in pegs else []
    return tuple(
        Check(name[0], name[1], math.dist(pegs[name[0]], pegs[name[1]]), name in diagonals)
        for name in (*ties, *sides, *diagonals)
    )


def _nearest(pegs: dict[str, Point], corners: list[str]) -> list[str]:
    return sorted(corners, key=lambda name: math.dist(_ORIGIN, pegs[name]))[:2]


def _are_neighbours(place: Field, name: str) -> bool:
    if "O" in name or name[0] == name[1]:
        return False
    apart = abs(LETTERS.index(name[0]) - LETTERS.index(name[1]))
    return apart in (1, len(place.outline_m) - 1)
