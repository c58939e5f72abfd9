"""Plane polygons: whether one is simple, its area, what lies inside.

A polygon is its corners in metres, going round it once in either direction, none repeated.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

from blindfield.model.field import Point

LEAST_AREA_M2 = 1.0


def area_m2(corners_m: Sequence[Point]) -> float:
    """The area inside (the shoelace formula), square metres."""
    twice = sum(
        ax * by - bx * ay for (ax, ay), (bx, by) in zip(corners_m, _turned(corners_m), strict=True)
    )
    return abs(twice) / 2.0


def fault_of_outline(corners_m: Sequence[Point]) -> str:
    """What is wrong with an outline, to follow its name in a sentence; empty when nothing is."""
    if len(set(corners_m)) < len(corners_m):
        return "has a corner twice (the last one joins the first by itself)"
    sides = list(zip(corners_m, _turned(corners_m), strict=True))
    for one, other in combinations(range(len(sides)), 2):
        joined = other - one == 1 or (one == 0 and other == len(sides) - 1)
        if not joined and _meet(*sides[one], *sides[other]):
            return f"crosses itself: side {one + 1} and side {other + 1} meet"
    if area_m2(corners_m) < LEAST_AREA_M2:
        return f"encloses less than {LEAST_AREA_M2:g} square metre"
    return ""


def is_inside(corners_m: Sequence[Point], point_m: Point) -> bool:
    """Whether a point lies inside (a ray to the right crosses an odd number of sides)."""
    x, y = point_m
    crossings = 0
    for (ax, ay), (bx, by) in zip(corners_m, _turned(corners_m), strict=True):
        if (ay > y) != (by > y) and x < ax + (y - ay) / (by - ay) * (bx - ax):
            crossings += 1
    return crossings % 2 == 1


def _turned(corners_m: Sequence[Point]) -> list[Point]:
    return [*corners_m[1:], corners_m[0]]


def _meet(a: Point, b: Point, c: Point, d: Point) -> bool:
    """Whether two lines from a to b and c to d have a point in common."""
    turns = (_side(a, b, c), _side(a, b, d), _side(c, d, a), _side(c, d, b))
    if turns[0] * turns[1] < 0 and turns[2] * turns[3] < 0:
        return True
    ends = ((a, b, c), (a, b, d), (c, d, a), (c, d, b))
    return any(
        turn == 0 and min(p[0], q[0]) <= r[0] <= max(p[0], q[0])
        and min(p[1], q[1]) <= r[1] <= max(p[1], q[1])
        for turn, (p, q, r) in zip(turns, ends, strict=True)
    )  # fmt: skip


def _side(a: Point, b: Point, c: Point) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
