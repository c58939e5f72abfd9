"""The digging order and the tracks: each hole lies on a straight track from rim to rim of its own,
and the way to the next track runs outside. So no track leads from one target to another, and none
ends at one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from blindfield.field.plan_ground import Ground, inside, segment_distance_m
from blindfield.model.field import Point
from blindfield.physics.arrays import Floats

DIRECTIONS = 24  # 7.5 degrees apart
CLEAR_M = 5.0  # more room than this between a track and other targets is no better; ours
LONG_M = 20.0  # a longer track tells no less of where its hole is; ours
_STEPS_KEPT_OUT = 200


@dataclass(frozen=True)
class Track:
    """A way through one hole: in at the rim, past the hole, out at the rim. `target` counts the
    places handed in; `clear_m` is to the next other target (inf without one)."""

    target: int
    enter_m: Point
    leave_m: Point
    clear_m: float
    over_keep_out: bool

    @property
    def length_m(self) -> float:
        return float(np.hypot(*np.subtract(self.leave_m, self.enter_m)))


def digging_order(ground: Ground, xy_m: Floats, others_m: Floats) -> list[Track]:
    """A track for each target (n, 2) of a layout, in the order to dig: once round the outline.

    `others_m` (m, 2) lie already: the tracks keep clear of them too.
    """
    tracks = [
        _best_track(ground, place, xy_m[place], np.vstack([np.delete(xy_m, place, 0), others_m]))
        for place in range(len(xy_m))
    ]
    return sorted(tracks, key=lambda track: (ground.along_m(track.enter_m), track.target))


def _best_track(ground: Ground, place: int, hole_m: Floats, others_m: Floats) -> Track:
    """Off the keep-outs if possible, then clear of the others and long enough, then short."""
    angles = np.pi * np.arange(DIRECTIONS) / DIRECTIONS
    ways = [_track(ground, place, hole_m, others_m, float(angle)) for angle in angles]
    return min(
        ways,
        key=lambda way: (way.over_keep_out, -round(_worth(way), 2), way.length_m),
    )


def _worth(way: Track) -> float:
    return min(way.clear_m / CLEAR_M, 1.0) + min(way.length_m / LONG_M, 1.0)


def _track(ground: Ground, place: int, hole_m: Floats, others_m: Floats, angle: float) -> Track:
    way = np.array([np.cos(angle), np.sin(angle)])
    ahead_m, behind_m = (_rim_m(ground.outline_m, hole_m, side) for side in (way, -way))
    ends = (hole_m + ahead_m * way, hole_m - behind_m * way)
    enter, leave = ends if ahead_m <= behind_m else ends[::-1]
    start, end = _point(enter), _point(leave)
    clear_m = segment_distance_m(start, end, others_m).min(initial=np.inf) if start != end else 0.0
    return Track(place, start, end, float(clear_m), _over_keep_out(ground, enter, leave))


def _rim_m(outline_m: Sequence[Point], hole_m: Floats, way: Floats) -> float:
    """How far from the hole the outline lies in this direction."""
    corners_m = np.array(outline_m)
    sides_m = np.roll(corners_m, -1, axis=0) - corners_m
    offset_m = corners_m - hole_m
    turn = way[0] * sides_m[:, 1] - way[1] * sides_m[:, 0]
    crossing = np.abs(turn) > 1e-9
    turn = np.where(crossing, turn, 1.0)
    far_m = (offset_m[:, 0] * sides_m[:, 1] - offset_m[:, 1] * sides_m[:, 0]) / turn
    share = (offset_m[:, 0] * way[1] - offset_m[:, 1] * way[0]) / turn
    met = crossing & (far_m >= 0) & (share >= -1e-9) & (share <= 1 + 1e-9)
    return float(far_m[met].min(initial=np.inf)) if met.any() else 0.0


def _over_keep_out(ground: Ground, enter_m: Floats, leave_m: Floats) -> bool:
    share = np.linspace(0.0, 1.0, _STEPS_KEPT_OUT)[:, None]
    points_m = enter_m + share * (leave_m - enter_m)
    return any(bool(inside(corners_m, points_m).any()) for corners_m in ground.keep_outs_m)


def _point(xy_m: Floats) -> Point:
    return round(float(xy_m[0]), 1) + 0.0, round(float(xy_m[1]), 1) + 0.0  # no -0.0
