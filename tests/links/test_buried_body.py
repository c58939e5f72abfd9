"""A target's body on the bench keeps its attitude from one signal to the next."""

from __future__ import annotations

import math
from itertools import pairwise
from random import Random

from hypothesis import given
from hypothesis import strategies as st

from blindfield.links.rig.body import BLOCK_FRAMES, BuriedBody, _gravity, _turn
from blindfield.links.sim.shapes import Vector
from blindfield.links.sim.strikes import Sensor

STILL = 100
NEARLY = 1e-9
NOISY_DEG = 1.0  # what a sensor's noise and rounding do to a mean of STILL frames, at most


def unit(x: float, y: float, z: float) -> Vector:
    length = math.sqrt(x * x + y * y + z * z)
    return x / length, y / length, z / length


def applied(turn: tuple[Vector, Vector, Vector], to: Vector) -> Vector:
    x, y, z = (sum(row[k] * to[k] for k in range(3)) for row in turn)
    return x, y, z


def apart(one: Vector, two: Vector) -> float:
    return math.dist(one, two)


def angle_deg(one: Vector, two: Vector) -> float:
    return math.degrees(2.0 * math.asin(min(1.0, math.dist(one, two) / 2.0)))


parts = st.floats(-1.0, 1.0)
directions = st.tuples(parts, parts, parts).filter(lambda v: math.hypot(*v) > 0.1)


@given(directions, directions, directions)
def test_a_turn_takes_one_direction_to_another_and_bends_nothing(
    start: Vector, end: Vector, other: Vector
) -> None:
    start, end, other = unit(*start), unit(*end), unit(*other)
    turn = _turn(start, end)
    assert apart(applied(turn, start), end) < 1e-6
    assert abs(math.hypot(*applied(turn, other)) - 1.0) < 1e-6
    dot = sum(a * b for a, b in zip(start, other, strict=True))
    turned = sum(a * b for a, b in zip(end, applied(turn, other), strict=True))
    assert abs(dot - turned) < 1e-5


@given(directions)
def test_half_a_turn_and_none_are_turns_too(start: Vector) -> None:
    start = unit(*start)
    x, y, z = start
    assert apart(applied(_turn(start, (-x, -y, -z)), start), (-x, -y, -z)) < NEARLY
    assert apart(applied(_turn(start, start), start), start) < NEARLY


def test_every_signal_begins_as_the_body_lies() -> None:
    body = BuriedBody(Random(7))
    lies = _gravity(body.quiet())
    for kind in ("sharp", "push", "miss", "neighbour", "knock", "quiet"):
        frames, _ = body.feel(kind)
        assert angle_deg(_gravity(frames[:STILL]), lies) < NOISY_DEG
    assert len(body.quiet()) == BLOCK_FRAMES


def test_two_bodies_lie_differently() -> None:
    one, two = (_gravity(BuriedBody(Random(seed)).quiet()) for seed in (1, 2))
    assert angle_deg(one, two) > 5.0


def test_a_lift_turns_it_and_putting_back_turns_it_back() -> None:
    body = BuriedBody(Random(3))
    lies = _gravity(body.quiet())
    body.lift()
    assert body.lifted
    assert angle_deg(_gravity(body.quiet()), lies) > 40.0
    frames = body.put_back()
    assert not body.lifted
    assert angle_deg(_gravity(frames[-STILL:]), lies) < NOISY_DEG
    assert angle_deg(_gravity(body.quiet()), lies) < NOISY_DEG


def test_it_settles_from_a_load_without_a_jump() -> None:
    body = BuriedBody(Random(5))
    last = body.feel("push")[0][1300]
    frames = body.settle(last)
    assert frames[0] == last
    assert len(frames) == 800
    plate = [frame[3] for frame in frames[:81]]
    assert max(abs(a - b) for a, b in pairwise(plate)) <= 10 + last[3] // 40


def test_nothing_is_beyond_what_the_sensor_can_tell() -> None:
    body = BuriedBody(Random(11), Sensor(clip_mg=2000))
    frames, onset_s = body.feel("sharp", 20.0)
    assert onset_s is not None
    assert max(abs(value) for frame in frames for value in frame[:3]) == 2000
