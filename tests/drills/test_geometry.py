"""Who hears whom, and in which order signals come into range."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from blindfield.drills.drill import Drill
from blindfield.drills.geometry import (
    coupling_at,
    heard,
    inside,
    lie_so,
    order_into_range,
    ways_in,
)
from blindfield.model.field import StartPoint, Target
from blindfield.physics.dipole import field_a_m, magnitude_a_m

SQUARE = ((0.0, 0.0), (50.0, 0.0), (50.0, 50.0), (0.0, 50.0))


def target(
    name: str,
    x_m: float,
    y_m: float,
    *,
    azimuth: float | None = None,
    tilt: float | None = 0.0,
    depth_m: float = 0.0,
) -> Target:
    tilt = None if azimuth is None else tilt
    return Target(name, b"d" * 8, x_m, y_m, depth_m, azimuth, tilt)


def pair(distance: str, close_m: float = 0.0) -> Drill:
    return Drill("k", "t", ("search only",), (2,), distance=distance, close_m=close_m)  # type: ignore[arg-type]


def test_coupling_is_one_on_the_axis_and_a_half_beside_it() -> None:
    along = target("a", 0.0, 0.0, azimuth=0.0)
    assert coupling_at(along, 0.0, 10.0) == pytest.approx((1.0, 1.0))
    assert coupling_at(along, 10.0, 0.0) == pytest.approx((0.5, 0.5))
    assert coupling_at(target("a", 0.0, 0.0), 3.0, 4.0) == (0.5, 1.0)


@pytest.mark.parametrize("seed", range(5))
def test_coupling_is_the_dipoles_field_over_its_coaxial_one(seed: int) -> None:
    rng = np.random.default_rng(seed)
    azimuth, tilt, depth_m = rng.uniform(0, 360), rng.uniform(-80, 80), rng.uniform(0.3, 1.5)
    one = target("a", 2.0, 3.0, azimuth=azimuth, tilt=tilt, depth_m=depth_m)
    x_m, y_m = rng.uniform(5, 30, 2)
    a, t = np.radians([azimuth, tilt])
    axis = np.array([np.sin(a) * np.cos(t), np.cos(a) * np.cos(t), np.sin(t)])
    to = np.array([x_m - 2.0, y_m - 3.0, depth_m])
    away_m = np.linalg.norm(to)
    strength = magnitude_a_m(field_a_m(to, axis))
    coaxial = magnitude_a_m(field_a_m(away_m * axis, axis))
    assert coupling_at(one, x_m, y_m)[0] == pytest.approx(float(strength / coaxial))


def test_what_nobody_knows_of_the_antenna_leaves_a_doubt() -> None:
    # broadside the range is 40 x 0.5 ** (1/3) = 31.7 m
    unknown = target("a", 0.0, 0.0)
    assert heard(unknown, 31.7, 0.0, 40.0) is True
    assert heard(unknown, 31.8, 0.0, 40.0) is None
    assert heard(unknown, 40.0, 0.0, 40.0) is None
    assert heard(unknown, 40.1, 0.0, 40.0) is False
    assert heard(target("a", 0.0, 0.0, azimuth=0.0), 31.8, 0.0, 40.0) is False
    assert heard(target("a", 0.0, 0.0, azimuth=90.0), 39.9, 0.0, 40.0) is True


def test_depth_counts_in_the_distance() -> None:
    assert heard(target("a", 0.0, 0.0, depth_m=3.0), 31.7, 0.0, 40.0) is None


@pytest.mark.parametrize(
    ("metres", "within", "out"),
    [(8.0, False, False), (12.0, True, False), (35.0, False, False), (41.0, False, True)],
)
def test_a_doubtful_pair_is_of_neither_kind(metres: float, within: bool, out: bool) -> None:
    one, other = target("a", 0.0, 0.0), target("b", metres, 0.0)
    assert lie_so(pair("within range"), one, other, 40.0) is within
    assert lie_so(pair("out of range"), one, other, 40.0) is out
    assert lie_so(pair("close", 10.0), one, other, 40.0) is (metres <= 10.0)
    assert lie_so(pair("any"), one, other, 40.0)


def test_out_of_range_must_hold_from_both() -> None:
    # From above b, a is heard on its axis; from above a, b lies broadside.
    one, other = target("a", 0.0, 0.0, azimuth=90.0), target("b", 35.0, 0.0, azimuth=0.0)
    assert not lie_so(pair("out of range"), one, other, 40.0)
    assert not lie_so(pair("within range"), one, other, 40.0)


def test_the_order_is_that_of_the_metres_walked_until_a_signal_is_heard() -> None:
    start = StartPoint("s", 0.0, 0.0)
    near, far = target("near", 38.0, 0.0, azimuth=0.0), target("far", 0.0, 41.0, azimuth=0.0)
    # broadside: heard from 31.7 m on, after 6.3 m; on the axis from 40 m on, after 1 m
    assert order_into_range([near, far], start, 40.0) == ("far", "near")
    assert order_into_range([near, replace(far, y_m=47.0)], start, 40.0) == ("near", "far")


def test_what_is_heard_at_once_comes_by_its_distance() -> None:
    start = StartPoint("s", 0.0, 0.0)
    names = [target("b", 20.0, 0.0), target("a", 10.0, 0.0), target("c", 45.0, 0.0)]
    assert order_into_range(names, start, 40.0) == ("a", "b", "c")


def test_ways_in_lead_into_the_ground() -> None:
    assert ways_in(StartPoint("s", 25.0, 0.0), SQUARE) == (0.0, 30.0, 60.0, 300.0, 330.0)
    assert ways_in(StartPoint("s", 25.0, -6.0), SQUARE) == (0.0, 30.0, 330.0)
    assert ways_in(StartPoint("s", 25.0, -90.0), SQUARE) == ()


def test_inside_follows_a_bent_outline() -> None:
    bent = ((0.0, 0.0), (50.0, 0.0), (50.0, 20.0), (20.0, 20.0), (20.0, 50.0), (0.0, 50.0))
    assert inside((10.0, 40.0), bent)
    assert not inside((40.0, 40.0), bent)
    assert inside((40.0, 10.0), bent)
