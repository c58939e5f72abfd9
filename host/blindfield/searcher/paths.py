"""Paths that a searcher walks by plan: search strips, micro search strips, three circles."""

from __future__ import annotations

import math

import numpy as np

from blindfield.physics.arrays import Floats
from blindfield.searcher.values import Problem

MICRO_STRIP_M = 3.0  # parallel strips 3 m apart, seen in a primary source
CIRCLE_RADII_M = (3.0, 6.0, 9.0)  # three circles about the found target, as quoted
MICRO_REACH_M = 12.0  # half the side of the square that micro strips cover; ours
_CHORD_DEG = 15.0  # a circle is walked as a polygon: 1 cm off at 3 m


class Path:
    """A polyline by length walked; one that is walked to its end begins again when it loops."""

    def __init__(self, corners_m: Floats) -> None:
        """`corners_m` (n, 2) in order. Corners on top of each other are left out."""
        steps = np.hypot(*np.diff(corners_m, axis=0).T)
        keep = np.concatenate([[True], steps > 1e-9])
        self._x_m, self._y_m = corners_m[keep, 0], corners_m[keep, 1]
        self._along_m = np.concatenate([[0.0], np.cumsum(steps[steps > 1e-9])])

    @property
    def length_m(self) -> float:
        return float(self._along_m[-1])

    def at(self, along_m: Floats) -> tuple[Floats, Floats]:
        """x and y after `along_m` of the path; beyond its length it begins again."""
        on = np.mod(along_m, self.length_m) if self.length_m > 0 else np.zeros_like(along_m)
        return np.interp(on, self._along_m, self._x_m), np.interp(on, self._along_m, self._y_m)


def search_strips(problem: Problem, strip_width_m: float) -> Path:
    """Signal search over the whole area from the start, each strip walked to the far edge.

    Strips run across the field from the edge that the start is nearest to; there are as many as the
    width as taught asks for, evenly spread, walked from the start's side. When all are walked, the
    searcher comes back on the lines between them, and then begins again (ours).
    """
    start = np.array([problem.start_x_m, problem.start_y_m])
    size = np.array([problem.width_m, problem.height_m])
    to_edge = np.minimum(start, size - start)
    along = 0 if to_edge[0] < to_edge[1] else 1
    across = 1 - along
    count = max(1, math.ceil(size[across] / strip_width_m - 1e-9))
    first = (np.arange(count) + 0.5) * size[across] / count
    between = np.arange(count + 1) * size[across] / count
    if start[across] > size[across] / 2:
        first, between = first[::-1], between[::-1]
    lines = np.concatenate([first, between[::-1]])
    near, far = (0.0, size[along]) if start[along] <= size[along] / 2 else (size[along], 0.0)
    corners = [start]
    for number, line in enumerate(lines):
        ends = (near, far) if number % 2 == 0 else (far, near)
        corners += [_point(along, end, line) for end in ends]
    corners.append(start)
    return Path(np.array(corners))


def three_circles() -> Path:
    """Circles of 3, 6 and 9 m about (0, 0), from there and back."""
    angle = np.radians(np.arange(0.0, 360.0 + _CHORD_DEG, _CHORD_DEG))
    rings = [radius * np.stack([np.sin(angle), np.cos(angle)], -1) for radius in CIRCLE_RADII_M]
    return Path(np.concatenate([np.zeros((1, 2)), *rings, np.zeros((1, 2))]))


def micro_strips() -> Path:
    """Parallel strips 3 m apart about (0, 0), from the middle strip outwards on either side."""
    corners = [np.zeros(2)]
    lines = np.arange(0.0, MICRO_REACH_M + 0.1, MICRO_STRIP_M)
    for number, line in enumerate(np.concatenate([lines, -lines[1:]])):
        reach = MICRO_REACH_M if number % 2 == 0 else -MICRO_REACH_M
        corners += [np.array([line, -reach]), np.array([line, reach])]
    corners.append(np.zeros(2))
    return Path(np.array(corners))


def _point(along: int, end: float, line: float) -> Floats:
    point = np.empty(2)
    point[along], point[1 - along] = end, line
    return point
