"""Tracks that tell nothing: from rim to rim past one hole, clear of all others."""

from __future__ import annotations

import numpy as np
import pytest

from blindfield.field.plan_ground import Ground, inside, segment_distance_m, sides_distance_m
from blindfield.field.plan_tracks import CLEAR_M, digging_order
from blindfield.model.field import Point

GROUND = Ground()
NONE_M = np.empty((0, 2))
BENT: tuple[Point, ...] = (
    (0.0, 0.0),
    (50.0, 0.0),
    (50.0, 20.0),
    (20.0, 20.0),
    (20.0, 50.0),
    (0.0, 50.0),
)
ROUNDING_M = 0.08


def holes(
    ground: Ground, count: int, seed: int
) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    return np.random.default_rng(seed).permutation(ground.places_m)[:count]


@pytest.mark.parametrize("outline", [GROUND.outline_m, BENT])
@pytest.mark.parametrize("seed", range(3))
def test_a_track_runs_through_its_hole_from_rim_to_rim(
    outline: tuple[Point, ...], seed: int
) -> None:
    ground = Ground(outline)
    xy_m = holes(ground, 8, seed)
    tracks = digging_order(ground, xy_m, NONE_M)
    assert sorted(track.target for track in tracks) == list(range(8))
    for track in tracks:
        ends = np.array([track.enter_m, track.leave_m])
        assert (sides_distance_m(outline, ends) < ROUNDING_M).all()
        hole = xy_m[track.target]
        assert float(segment_distance_m(*ends, hole)) < ROUNDING_M
        others = np.delete(xy_m, track.target, axis=0)
        assert track.clear_m == pytest.approx(segment_distance_m(*ends, others).min())
        inner = ends[0] + np.linspace(0.02, 0.98, 60)[:, None] * (ends[1] - ends[0])
        assert (inside(outline, inner) | (sides_distance_m(outline, inner) < ROUNDING_M)).all()


def test_the_order_goes_once_round_the_ground() -> None:
    tracks = digging_order(GROUND, holes(GROUND, 8, 5), NONE_M)
    along = [GROUND.along_m(track.enter_m) for track in tracks]
    assert along == sorted(along)


def test_tracks_of_apart_holes_keep_clear_of_every_other() -> None:
    xy_m = np.array([[8.0, 9.0], [14.0, 9.5], [30.0, 12.0], [41.0, 33.0], [22.0, 40.0]])
    tracks = digging_order(GROUND, xy_m, NONE_M)
    assert min(track.clear_m for track in tracks) >= CLEAR_M


def test_what_lies_already_is_kept_clear_of_too() -> None:
    xy_m = np.array([[25.0, 10.0]])
    (free,) = digging_order(GROUND, xy_m, NONE_M)
    beside = np.array([np.add(xy_m[0], free.leave_m) / 2])
    (kept,) = digging_order(GROUND, xy_m, beside)
    assert segment_distance_m(free.enter_m, free.leave_m, beside).min() < 1.0
    assert kept.clear_m >= CLEAR_M


def test_a_track_misses_the_keep_outs_where_it_can_and_says_where_not() -> None:
    right: tuple[Point, ...] = ((28.0, 0.0), (50.0, 0.0), (50.0, 50.0), (28.0, 50.0))
    (beside,) = digging_order(Ground(keep_outs_m=(right,)), np.array([[25.0, 25.0]]), NONE_M)
    assert not beside.over_keep_out
    assert max(beside.enter_m[0], beside.leave_m[0]) < 28.0
    arms = [((24.0, 30.0), (26.0, 30.0), (26.0, 34.0), (24.0, 34.0))]
    ring = tuple(
        tuple(
            (25 + (x - 25) * c - (y - 25) * s, 25 + (x - 25) * s + (y - 25) * c) for x, y in arms[0]
        )
        for c, s in [(np.cos(a), np.sin(a)) for a in np.radians(np.arange(0, 360, 18))]
    )
    (ringed,) = digging_order(Ground(keep_outs_m=ring), np.array([[25.0, 25.0]]), NONE_M)
    assert ringed.over_keep_out


def test_a_hole_in_a_corner_has_no_track_that_ends_at_it() -> None:
    (track,) = digging_order(GROUND, np.array([[1.0, 49.0]]), NONE_M)
    assert track.length_m > 20.0
