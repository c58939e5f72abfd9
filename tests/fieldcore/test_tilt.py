"""Dug out: turned for a second; not by steps, strikes or a short knock aside."""

import math
from random import Random

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from blindfield.links.sim.strikes import generate
from fieldcore.sensor import Block
from fieldcore.tilt import TiltDetector
from support.samples import blocks

BLOCK_US = 40_000
Vector = tuple[float, float, float]
UP: Vector = (0.0, 0.0, 1.0)


class Patient:
    """A target that is held in attitudes for a while."""

    def __init__(self, dug_out_deg: int = 40, first_us: int = 0) -> None:
        self.detector = TiltDetector(dug_out_deg)
        self.block = Block(32)
        self.block.count = 32
        self.block.first_us = first_us
        self.rng = Random(1)

    def hold(self, up: Vector, seconds: float, shake_mg: int = 4) -> list[float]:
        """When, in s from the start of this attitude, it was told dug out."""
        told = []
        for number in range(round(seconds * 25)):
            for i in range(32):
                for k in range(3):
                    noise_mg = self.rng.randrange(-shake_mg, shake_mg + 1)
                    self.block.frames[4 * i + k] = round(1000 * up[k]) + noise_mg
            if self.detector.feed(self.block):
                told.append(number * 0.04)
            self.block.first_us = (self.block.first_us + BLOCK_US) & 0x3FFFFFFF
        return told


def leaning(angle_deg: float, around_deg: float = 0.0) -> Vector:
    """`UP` turned by an angle."""
    angle, around = math.radians(angle_deg), math.radians(around_deg)
    return (
        math.sin(angle) * math.cos(around),
        math.sin(angle) * math.sin(around),
        math.cos(angle),
    )


def test_a_lift_is_told_once_between_one_and_two_seconds_after_the_turn() -> None:
    patient = Patient()
    assert patient.hold(UP, 5) == []
    told = patient.hold(leaning(90), 20)
    assert len(told) == 1
    assert 1.0 <= told[0] <= 2.0


def test_still_moving_by_hand_counts() -> None:
    patient = Patient()
    patient.hold(UP, 2)
    assert len(patient.hold(leaning(120), 3, shake_mg=400)) == 1


def test_a_turn_for_half_a_second_does_not_count() -> None:
    patient = Patient()
    patient.hold(UP, 2)
    for _ in range(5):
        assert patient.hold(leaning(100), 0.5) == []
        assert patient.hold(UP, 2.0) == []


def test_after_half_a_minute_of_stillness_a_new_lift_is_told_again() -> None:
    patient = Patient()
    patient.hold(UP, 2)
    assert len(patient.hold(leaning(90), 5)) == 1
    assert patient.hold(leaning(10), 20) == []
    assert patient.hold(leaning(90), 5) == []  # the reference had not settled yet
    assert patient.hold(leaning(10), 35) == []
    assert not patient.detector.turned
    assert len(patient.hold(leaning(90), 5)) == 1


@pytest.mark.parametrize("asleep_us", [60_000_000, 600_000_000])
def test_sleeping_counts_as_stillness(asleep_us: int) -> None:
    """Ten minutes are more than half the tick circle."""
    patient = Patient()
    patient.hold(UP, 2)
    patient.hold(leaning(90), 5)
    patient.hold(UP, 3)
    patient.block.first_us = (patient.block.first_us + asleep_us) & 0x3FFFFFFF
    assert patient.hold(UP, 0.2) == []
    assert len(patient.hold(leaning(90), 3)) == 1


def test_slow_settling_of_the_snow_is_followed() -> None:
    patient = Patient()
    for degree in range(0, 90, 3):
        assert patient.hold(leaning(degree), 33) == []


@settings(max_examples=30, deadline=None)
@given(
    set_deg=st.integers(15, 80),
    turn_deg=st.floats(0, 180),
    around_deg=st.floats(0, 360),
    scale=st.floats(0.95, 1.05),
    first_us=st.integers(0, 0x3FFFFFFF),
)
def test_the_angle_decides(
    set_deg: int, turn_deg: float, around_deg: float, scale: float, first_us: int
) -> None:
    """To 2 degrees, round any axis, with a sensor 5 % off, at any tick."""
    assume(abs(turn_deg - set_deg) > 2.0)
    patient = Patient(set_deg, first_us)
    patient.hold(UP, 1)
    x, y, z = leaning(turn_deg, around_deg)
    told = patient.hold((x * scale, y * scale, z * scale), 4)
    assert bool(told) == (turn_deg > set_deg)


@pytest.mark.parametrize(
    ("kind", "expected"),
    [("lift", 20), ("lift and put back", 20), ("sharp", 0), ("push", 0), ("steps", 0),
     ("shovel", 0), ("knock", 0), ("quiet", 0)],
)  # fmt: skip
def test_modelled_signals(kind: str, expected: int) -> None:
    """Lifts turn by 60 to 170 degrees; twenty draws of each kind."""
    rng = Random(kind)
    told = 0
    for _ in range(20):
        detector = TiltDetector()
        signal = generate(kind, rng, strength=2.0, distance_m=0.5)
        told += sum(detector.feed(block) for block in blocks(signal.frames, 800.0))
    assert told == expected


def test_an_empty_block_is_nothing() -> None:
    assert not TiltDetector().feed(Block())
