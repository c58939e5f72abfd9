"""Where a target lies, from tape readings, by least squares.

Two readings give a place, a third checks it. Every reading is taken as true but for a normal error
of the same standard deviation; what breaks that rule is found in `snooping`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np

from blindfield.field.outline import is_inside
from blindfield.field.pegs import line_named, point_named
from blindfield.model.errors import ConfigError
from blindfield.model.field import Field, Point
from blindfield.physics.arrays import Bools, Floats

READING_SIGMA_M = 0.10  # a tape over snow, read with gloves; an assumption, not measured
WHOLE_M = 1e-6  # the adjustment stops when the place moves less
AS_GOOD = 6.0  # a second place whose misfit (in sigma^2) is larger by less fits as well
FAR_FACTOR = 1.25  # a reading this much longer than the field's diagonal is no reading
STEPS = 60


class Kind(StrEnum):
    """How a reading was made."""

    TAPE = "tape"  # straight from a peg or mark
    ALONG = "along"  # along a base line, to the foot of the offset
    OFFSET = "offset"  # square off a base line, into the ground


@dataclass(frozen=True)
class Reading:
    """`origin` is the peg or mark a tape starts from, or the base line, in capitals."""

    kind: Kind
    origin: str
    value_m: float

    def __str__(self) -> str:
        words = {
            Kind.TAPE: f"{self.origin}",
            Kind.ALONG: f"along {self.origin}",
            Kind.OFFSET: f"off {self.origin}",
        }
        return f"{words[self.kind]} {self.value_m:.2f}"

    def to_json(self) -> list[Any]:
        return [self.kind.value, self.origin, self.value_m]


@dataclass(frozen=True)
class Adjusted:
    """The place that fits best.

    `sigma_m`: standard error along the worst direction (half the long axis of the standard
    ellipse), from the errors assumed of the readings; inf where they fix no place. `residuals_m`
    (n,): adjusted minus read. `shares` (n,): the redundancy of each reading, between 0 (the others
    say nothing about it) and 1. `misfit`: sum of squared residuals over the assumed variance.
    `other_m`: a second place inside the ground that fits as well.
    """

    x_m: float
    y_m: float
    sigma_m: float
    residuals_m: Floats
    shares: Floats
    misfit: float
    other_m: Point | None = None

    @property
    def spare(self) -> int:
        """Readings beyond the two that a place needs."""
        return len(self.residuals_m) - 2


def reading_of(place: Field, kind: str, origin: str, value_m: float) -> Reading:
    """A reading that can be one of this field. Raises ConfigError naming its origin."""
    reading = Reading(Kind(kind), origin.upper().replace(" ", "").replace(",", "."), value_m)
    _ = _model(place, [reading])  # refuses an unknown peg or side
    longest_m = math.hypot(place.width_m, place.height_m)
    if not math.isfinite(value_m) or (value_m < 0 and reading.kind is Kind.TAPE):
        raise ConfigError(
            f"{reading.origin}: a tape cannot read {value_m:g} m.", remedy="Read it again."
        )
    if abs(value_m) > FAR_FACTOR * longest_m:
        raise ConfigError(
            f"{reading.origin}: {value_m:g} m is far longer than this field, which is "
            f"{longest_m:.1f} m across.",
            remedy="Read it again; lengths are metres.",
        )
    return reading


def readings_from_json(place: Field, rows: Sequence[Sequence[Any]]) -> list[Reading]:
    """The readings of a `placed` event; those that this field's pegs no longer allow are left."""
    found = []
    for row in rows:
        try:
            kind, origin, value_m = row
            found.append(reading_of(place, kind, origin, float(value_m)))
        except (ConfigError, ValueError, TypeError):
            continue
    return found


def adjust(
    place: Field, readings: Sequence[Reading], near_m: Point, sigma_m: float = READING_SIGMA_M
) -> Adjusted:
    """The least squares place of two readings or more; of places that fit alike, that nearest to
    `near_m`, where it was planned."""
    model = _model(place, readings)
    first = _solve(model, np.array(near_m, dtype=float))
    starts = [_mirrored(model, first), np.array([place.width_m / 2, place.height_m / 2])]
    places = [first, *(_solve(model, start) for start in starts)]
    misfits = [float(np.sum(model.residuals(found) ** 2)) / sigma_m**2 for found in places]
    best = min(
        range(len(places)),
        key=lambda n: (round(misfits[n], 4), float(np.hypot(*(places[n] - near_m)))),
    )
    found = places[best]
    other = next(
        (
            (float(p[0]), float(p[1]))
            for p, misfit in zip(places, misfits, strict=True)
            if np.hypot(*(p - found)) > 10 * sigma_m
            and misfit - misfits[best] < AS_GOOD
            and is_inside(place.outline_m, (float(p[0]), float(p[1])))
        ),
        None,
    )
    axis_m, shares = _precision(model.slopes(found), sigma_m)
    residuals_m = model.residuals(found)
    return Adjusted(
        float(found[0]), float(found[1]), axis_m, residuals_m, shares, misfits[best], other
    )


def residuals_at(place: Field, readings: Sequence[Reading], at_m: Point) -> Floats:
    """(n,) what each reading would be from `at_m`, minus what was read, metres."""
    return _model(place, readings).residuals(np.array(at_m, dtype=float))


def slopes_at(place: Field, readings: Sequence[Reading], at_m: Point) -> Floats:
    """(n, 2) metres that each reading changes by, per metre that a target at `at_m` moves; the
    values of the readings do not matter."""
    return _model(place, readings).slopes(np.array(at_m, dtype=float))


def never_meet(
    place: Field, readings: Sequence[Reading], slack_m: float = 4 * READING_SIGMA_M
) -> list[tuple[Reading, Reading]]:
    """Pairs of tapes whose circles have no point in common, by more than `slack_m`."""
    tapes = [reading for reading in readings if reading.kind is Kind.TAPE]
    pairs = []
    for number, one in enumerate(tapes):
        for other in tapes[number + 1 :]:
            apart_m = math.dist(point_named(place, one.origin), point_named(place, other.origin))
            too_short = apart_m - one.value_m - other.value_m > slack_m
            too_long = abs(one.value_m - other.value_m) - apart_m > slack_m
            if one.origin != other.origin and (too_short or too_long):
                pairs.append((one, other))
    return pairs


@dataclass(frozen=True)
class _Model:
    """What readings say of a place: (n, 2) origins and directions, (n,) which are tapes."""

    origins_m: Floats
    directions: Floats
    is_tape: Bools
    values_m: Floats

    def residuals(self, at_m: Floats) -> Floats:
        """(n,) computed minus read, metres."""
        away = at_m - self.origins_m
        straight = np.sum(away * self.directions, axis=1)
        found: Floats = np.where(self.is_tape, np.hypot(away[:, 0], away[:, 1]), straight)
        return found - self.values_m

    def slopes(self, at_m: Floats) -> Floats:
        """(n, 2) metres of reading per metre of place."""
        away = at_m - self.origins_m
        length = np.maximum(np.hypot(away[:, 0], away[:, 1]), 1e-9)
        found: Floats = np.where(self.is_tape[:, None], away / length[:, None], self.directions)
        return found


def _model(place: Field, readings: Sequence[Reading]) -> _Model:
    origins, directions = [], []
    for reading in readings:
        if reading.kind is Kind.TAPE:
            origins.append(point_named(place, reading.origin))
            directions.append((0.0, 0.0))
            continue
        line = line_named(place, reading.origin)
        origins.append(line.begin_m)
        directions.append(line.along if reading.kind is Kind.ALONG else line.across)
    return _Model(
        np.array(origins, dtype=float),
        np.array(directions, dtype=float),
        np.array([reading.kind is Kind.TAPE for reading in readings]),
        np.array([reading.value_m for reading in readings]),
    )


def _solve(model: _Model, start_m: Floats) -> Floats:
    """Gauss-Newton steps, damped (Levenberg, Marquardt) while they do not lessen the misfit."""
    at_m, damping = start_m, 1e-6
    residuals = model.residuals(at_m)
    for _ in range(STEPS):
        slopes = model.slopes(at_m)
        normal = slopes.T @ slopes + damping * np.eye(2)
        step = -np.linalg.solve(normal, slopes.T @ residuals)
        tried = model.residuals(at_m + step)
        if tried @ tried <= residuals @ residuals:
            at_m, residuals, damping = at_m + step, tried, max(damping / 10, 1e-12)
            if float(np.hypot(*step)) < WHOLE_M:
                break
        else:
            damping = max(damping * 10, 1e-6)
    return at_m


def _mirrored(model: _Model, at_m: Floats) -> Floats:
    """`at_m` seen across the line that the origins lie along: where two tapes meet again."""
    middle = model.origins_m.mean(axis=0)
    _, _, axes = np.linalg.svd(model.origins_m - middle)
    away = at_m - middle
    mirrored: Floats = middle + 2 * (away @ axes[0]) * axes[0] - away
    return mirrored


def _precision(slopes: Floats, sigma_m: float) -> tuple[float, Floats]:
    """(standard error along the worst direction, redundancy shares)."""
    normal = slopes.T @ slopes
    least, most = np.linalg.eigvalsh(normal)
    if least < 1e-9 * most:
        return math.inf, np.zeros(len(slopes))
    inverse = np.linalg.inv(normal)
    shares: Floats = 1.0 - np.einsum("ij,jk,ik->i", slopes, inverse, slopes)
    return sigma_m / math.sqrt(least), np.clip(shares, 0.0, 1.0)
