"""Made-up surveys: places, tapes read with noise, and one blunder."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from blindfield.field.pegs import point_named
from blindfield.field.snooping import Judgement, judge, worst_w
from blindfield.field.suggest import next_origins
from blindfield.field.survey import Kind, Reading
from blindfield.model.field import Field, Point

NOISE_M = 0.10
BLUNDER_M = 1.0
OFF_PLAN_M = 0.7  # each coordinate of a hole, against its plan
TARGETS = 6


@dataclass(frozen=True)
class Found:
    """How one survey of TARGETS targets with one blunder in it went, with three readings a target
    and, at the target of the blunder, with five."""

    named_target: bool
    false_alarms: int
    named_reading: bool
    wrong_reading: bool
    error_m: float


def survey_with_a_blunder(place: Field, chance: np.random.Generator) -> Found:
    """One survey. The tapes are those that the program asks for; each blunder is of either sign."""
    size = (TARGETS, 2)
    margin = np.array([2.0, 2.0])
    truth = chance.uniform(margin, np.array([place.width_m, place.height_m]) - margin, size)
    plan = truth + chance.normal(0, OFF_PLAN_M, size)
    victim = int(chance.integers(TARGETS))
    three = []
    for n in range(TARGETS):
        wrong = int(chance.integers(3)) if n == victim else None
        origins = next_origins(place, _point(plan[n]))
        three.append(_judged(place, origins, truth[n], plan[n], chance, wrong))
    named = [n for n, found in enumerate(three) if found.disagrees]
    worst = max(range(TARGETS), key=lambda n: _worst(three[n]))
    five, wrong = _five(place, truth[victim], plan[victim], chance)
    assert five.place is not None
    return Found(
        victim in named and worst == victim,
        len(set(named) - {victim}),
        five.bad == (wrong,),
        bool(five.bad) and five.bad != (wrong,),
        math.dist((five.place.x_m, five.place.y_m), _point(truth[victim])),
    )


def tape(place: Field, origin: str, at_m: Point, error_m: float = 0.0) -> Reading:
    """What a tape from `origin` reads of a target at `at_m`."""
    return Reading(Kind.TAPE, origin, math.dist(point_named(place, origin), at_m) + error_m)


def _five(
    place: Field, truth: np.ndarray, plan: np.ndarray, chance: np.random.Generator
) -> tuple[Judgement, int]:
    """Three readings, then one and one more as the program asks for them; which is the blunder."""
    near_m = _point(plan)
    have = [tape(place, origin, _point(truth)) for origin in next_origins(place, near_m)]
    while len(have) < 5:
        have.append(tape(place, next_origins(place, near_m, have, count=1)[0], _point(truth)))
    wrong = int(chance.integers(5))
    origins = tuple(reading.origin for reading in have)
    return _judged(place, origins, truth, plan, chance, wrong), wrong


def _judged(
    place: Field,
    origins: tuple[str, ...],
    truth: np.ndarray,
    plan: np.ndarray,
    chance: np.random.Generator,
    wrong: int | None,
) -> Judgement:
    errors = chance.normal(0, NOISE_M, len(origins))
    if wrong is not None:
        errors[wrong] += chance.choice([-BLUNDER_M, BLUNDER_M])
    pairs = zip(origins, errors, strict=True)
    readings = [tape(place, origin, _point(truth), float(error)) for origin, error in pairs]
    return judge(place, readings, _point(plan), NOISE_M)


def _worst(found: Judgement) -> float:
    assert found.place is not None
    return worst_w(found.place, NOISE_M)


def _point(values: np.ndarray) -> Point:
    return float(values[0]), float(values[1])
