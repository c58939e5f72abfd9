"""The ground a plan may use: a lattice of places inside the outline and off the keep-outs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.ndimage import distance_transform_edt
from scipy.spatial import ConvexHull, QhullError
from scipy.spatial.distance import pdist

from blindfield.field.outline import area_m2, fault_of_outline
from blindfield.model.errors import ConfigError
from blindfield.model.field import Point, StartPoint
from blindfield.physics.arrays import Bools, Floats, Ints

EDGE_ROOM_M = 1.0  # from a target to the outline or a keep-out: half a hole; common practice
PITCH_M, COARSE_PITCH_M, MOST_CELLS = 0.5, 1.0, 40_000
SIDE_RANGE_M = (2.0, 500.0)
LEAST_GROUND_M2 = 25.0
STARTS_RANGE = (1, 12)
ON_RIM_M = 1.0


@dataclass(frozen=True)
class Ground:
    """`outline_m` goes round once. `pitch_m`: places are multiples of it, from the first peg.

    Raises ConfigError for an outline that is none, too small, or left without a place.
    """

    outline_m: tuple[Point, ...] = ((0.0, 0.0), (50.0, 0.0), (50.0, 50.0), (0.0, 50.0))
    keep_outs_m: tuple[tuple[Point, ...], ...] = ()
    pitch_m: float | None = None
    edge_room_m: float = EDGE_ROOM_M

    def __post_init__(self) -> None:
        _check_outline("the area", self.outline_m)
        if area_m2(self.outline_m) < LEAST_GROUND_M2 or self._size_m.min() < SIDE_RANGE_M[0]:
            raise ConfigError(
                f"an area of {area_m2(self.outline_m):.0f} m2 is too small to practise on.",
                remedy=f"Take at least {LEAST_GROUND_M2:g} m2; 50 m x 50 m is usual.",
            )
        for number, corners_m in enumerate(self.keep_outs_m, 1):
            _check_outline(f"keep-out {number}", corners_m)
            if (np.max(corners_m, axis=0) > self._size_m).any():
                raise ConfigError(
                    f"keep-out {number} reaches beyond the area.",
                    remedy="Give the part of it that lies inside.",
                )
        if not self.free.any():
            raise ConfigError(
                "the keep-outs and the edge leave no place for a target.",
                remedy="Take a larger area or smaller keep-outs.",
            )

    @property
    def step_m(self) -> float:
        """The lattice's step: as asked, or half a metre, or more on a very large ground."""
        if self.pitch_m is not None:
            return self.pitch_m
        fine = np.prod(self._size_m / PITCH_M) <= MOST_CELLS
        return PITCH_M if fine else COARSE_PITCH_M

    @property
    def _size_m(self) -> Floats:
        return np.asarray(np.max(self.outline_m, axis=0), dtype=float)

    @cached_property
    def _grid_m(self) -> Floats:
        """Every lattice point (columns, rows, 2) of the box that holds the outline."""
        width_m, height_m = self._size_m.tolist()
        columns = np.arange(0.0, width_m + 1e-9, self.step_m, dtype=np.float64)
        rows = np.arange(0.0, height_m + 1e-9, self.step_m, dtype=np.float64)
        mesh = np.meshgrid(columns, rows, indexing="ij")
        return np.asarray(np.stack(mesh, axis=-1), dtype=float)

    @cached_property
    def free(self) -> Bools:
        """Which of them may hold a target (columns, rows)."""
        room_m = self.edge_room_m - 1e-9
        free = inside(self.outline_m, self._grid_m) | (self.edge_m(self._grid_m) < 1e-9)
        free &= self.edge_m(self._grid_m) >= room_m
        for corners_m in self.keep_outs_m:
            near = sides_distance_m(corners_m, self._grid_m) < room_m
            free &= ~(near | inside(corners_m, self._grid_m))
        return free

    @cached_property
    def places_m(self) -> Floats:
        """The places (m, 2) that may hold a target."""
        return self._grid_m[self.free]

    @cached_property
    def _nearest(self) -> Ints:
        indices = distance_transform_edt(~self.free, return_distances=False, return_indices=True)
        return np.asarray(indices, dtype=np.int64)

    def snapped(self, xy_m: Floats) -> Floats:
        """The free place (..., 2) next to each point (..., 2)."""
        shape = np.array(self.free.shape)
        cell = np.clip(np.rint(xy_m / self.step_m).astype(np.int64), 0, shape - 1)
        found = self._nearest[:, cell[..., 0], cell[..., 1]]
        return np.asarray(np.moveaxis(found, 0, -1) * self.step_m, dtype=float)

    def edge_m(self, xy_m: Floats) -> Floats:
        """Distance (...) of each point (..., 2) from the outline."""
        return sides_distance_m(self.outline_m, xy_m)

    @cached_property
    def longest_m(self) -> float:
        """The greatest distance between two places."""
        places_m = self.places_m
        if len(places_m) > 3:
            try:
                places_m = places_m[ConvexHull(places_m).vertices]
            except QhullError:
                places_m = places_m[[0, -1]]  # all in one line
        return float(pdist(places_m).max()) if len(places_m) > 1 else 0.0

    def room_at_most(self, separation_m: float) -> int:
        """No more targets than this fit so far apart: two never share a square whose diagonal is
        shorter."""
        square_m = max(separation_m, 1e-3) * (0.5**0.5 - 1e-9)
        return len(np.unique((self.places_m / square_m).astype(np.int64), axis=0))

    def room_found(self, separation_m: float, lying_m: Floats) -> int:
        """How many targets were placed so far apart, and from `lying_m` (n, 2), taking each place
        that is still free in turn, by columns, by rows or from the rim; more may fit."""
        places_m = self.places_m
        for one_m in lying_m:
            places_m = places_m[_far(places_m, one_m, separation_m)]
        orders = (places_m[:, 0], places_m[:, 1], self.edge_m(places_m))
        return max(
            _taken(places_m[np.argsort(order, kind="stable")], separation_m) for order in orders
        )

    def flags(self, count: int) -> tuple[StartPoint, ...]:
        """Start points evenly round the outline, the first in the middle of the first side."""
        least, most = STARTS_RANGE
        if not least <= count <= most:
            raise ConfigError(f"{count} start points cannot be.", remedy=f"Say {least} to {most}.")
        corners_m = np.array(self.outline_m)
        walked_m = np.concatenate([[0.0], np.cumsum(_lengths_m(corners_m))])
        at_m = (walked_m[1] / 2 + walked_m[-1] * np.arange(count) / count) % walked_m[-1]
        closed_m = np.vstack([corners_m, corners_m[:1]])
        x_m, y_m = (np.round(np.interp(at_m, walked_m, side), 1) for side in closed_m.T)
        return tuple(
            StartPoint(f"flag {number}", float(x), float(y))
            for number, (x, y) in enumerate(zip(x_m, y_m, strict=True), 1)
        )

    def outward_deg(self, start: StartPoint) -> float | None:
        """Azimuth straight out of the ground at a start point on its rim; None for one inside."""
        corners_m = np.array(self.outline_m)
        sides_m = np.roll(corners_m, -1, axis=0) - corners_m
        here_m = np.array([[start.x_m, start.y_m]])
        ends = zip(self.outline_m, np.roll(corners_m, -1, axis=0).tolist(), strict=True)
        far_m = [float(segment_distance_m(a, (b[0], b[1]), here_m)[0]) for a, b in ends]
        side = int(np.argmin(far_m))
        if far_m[side] > ON_RIM_M:
            return None
        out = np.array([sides_m[side, 1], -sides_m[side, 0]])
        if inside(self.outline_m, here_m + 0.5 * out / np.hypot(*out))[0]:
            out = -out
        return float(np.degrees(np.arctan2(out[0], out[1])) % 360.0)

    def along_m(self, point_m: Point) -> float:
        """How far round the outline, from its first corner, the point of it next to this lies."""
        corners_m = np.array(self.outline_m)
        sides_m = np.roll(corners_m, -1, axis=0) - corners_m
        lengths_m = _lengths_m(corners_m)
        share = np.clip(((point_m - corners_m) * sides_m).sum(-1) / lengths_m**2, 0.0, 1.0)
        feet_m = corners_m + share[:, None] * sides_m
        side = int(np.hypot(*(feet_m - point_m).T).argmin())
        return float(lengths_m[:side].sum() + share[side] * lengths_m[side])


def inside(corners_m: Sequence[Point], points_m: Floats) -> Bools:
    """Which points (..., 2) lie inside (as `outline.is_inside`, for arrays)."""
    x, y = points_m[..., 0], points_m[..., 1]
    odd = np.zeros(x.shape, dtype=np.bool_)
    for (ax, ay), (bx, by) in zip(corners_m, [*corners_m[1:], corners_m[0]], strict=True):
        if ay != by:
            odd ^= ((ay > y) != (by > y)) & (x < ax + (y - ay) / (by - ay) * (bx - ax))
    return odd


def sides_distance_m(corners_m: Sequence[Point], points_m: Floats) -> Floats:
    """Distance (...) of each point (..., 2) from the nearest side of a polygon."""
    nearest_m = np.full(points_m.shape[:-1], np.inf)
    for start, end in zip(corners_m, [*corners_m[1:], corners_m[0]], strict=True):
        nearest_m = np.minimum(nearest_m, segment_distance_m(start, end, points_m))
    return nearest_m


def segment_distance_m(start_m: Point, end_m: Point, points_m: Floats) -> Floats:
    """Distance (...) of each point (..., 2) from the line between two different points."""
    start = np.array(start_m)
    side = np.array(end_m) - start
    offset = points_m - start
    share = np.clip((offset @ side) / (side @ side), 0.0, 1.0)
    foot = offset - share[..., None] * side
    return np.asarray(np.hypot(foot[..., 0], foot[..., 1]))


def _far(places_m: Floats, one_m: Floats, separation_m: float) -> Bools:
    offset_m = places_m - one_m
    return np.asarray(np.hypot(offset_m[:, 0], offset_m[:, 1]) >= separation_m - 1e-9)


def _taken(places_m: Floats, separation_m: float) -> int:
    count = 0
    while len(places_m):
        places_m = places_m[1:][_far(places_m[1:], places_m[0], separation_m)]
        count += 1
    return count


def _lengths_m(corners_m: Floats) -> Floats:
    return np.asarray(np.hypot(*(np.roll(corners_m, -1, axis=0) - corners_m).T))


def _check_outline(what: str, corners_m: tuple[Point, ...]) -> None:
    remedy = "Give each corner once, going round: three or more, in metres from the first peg."
    count = len(corners_m)
    if count < 3:
        raise ConfigError(f"{what} is open: {count} of at least 3 corners.", remedy=remedy)
    if not np.isfinite(corners_m).all() or np.min(corners_m) < 0.0:
        raise ConfigError(f"{what} has a corner below zero or without end.", remedy=remedy)
    if np.max(corners_m) > SIDE_RANGE_M[1]:
        longest_m = SIDE_RANGE_M[1]
        raise ConfigError(f"{what} is longer than {longest_m:g} m.", remedy="Take a part of it.")
    fault = fault_of_outline(corners_m)
    if fault:
        raise ConfigError(f"{what} {fault}.", remedy=remedy)
