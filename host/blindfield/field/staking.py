"""How to find on the ground, with a tape, the places that a plan put on paper.

For one person: base line and offset, or a tape hooked on one peg after the other. For two: a tape
from each of two pegs. Every hole has a third length that checks it.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from itertools import combinations
from typing import Any

from blindfield.field.outline import is_inside
from blindfield.field.pegs import Check, checks_of, pegs_of, point_named, sides_of
from blindfield.field.suggest import TAPE_M, next_origins
from blindfield.model.errors import ConfigError
from blindfield.model.field import Field, Point, Target

CHECK_WITHIN_M = 0.3  # two readings with gloves, and a hole of half a metre; common practice
DECOY_APART_M = 5.0
DECOY_DEPTH_M = 0.8
DECOY_TRIES = 400


@dataclass(frozen=True)
class Length:
    """A taped length from a peg or mark."""

    origin: str
    length_m: float


@dataclass(frozen=True)
class Card:
    """One hole. `line`, `along_m`, `offset_m`: base line and offset; `arcs`: the two tapes whose
    arcs cross there, at `crossing_deg` (best near 90); `check`: a third, None where the ground has
    no further peg. Depth down from the snow; the attitude is None where any will do."""

    number: int
    name: str
    is_decoy: bool
    x_m: float
    y_m: float
    depth_m: float
    azimuth_deg: float | None
    tilt_deg: float | None
    line: str
    along_m: float
    offset_m: float
    arcs: tuple[Length, Length]
    crossing_deg: float
    check: Length | None

    @property
    def lies(self) -> str:
        """How to lay the target in, in words."""
        if self.is_decoy:
            return "nothing goes in: dig, fill, tread"
        if self.azimuth_deg is None or self.tilt_deg is None:
            return "any way; write down which"
        tilt = round(self.tilt_deg)
        level = f"{abs(tilt)} deg {'up' if tilt > 0 else 'down'} at that end" if tilt else "level"
        return f"antenna to {round(self.azimuth_deg) % 360} deg from the y axis, clockwise; {level}"


@dataclass(frozen=True)
class Sheet:
    """Everything that whoever digs takes along. `seed` draws the same decoys again; `pegs` are
    letters and places, metres from the first peg."""

    field_name: str
    people: int
    tape_m: float
    seed: int
    pegs: dict[str, Point]
    checks: tuple[Check, ...]
    cards: tuple[Card, ...]

    def to_json(self) -> dict[str, Any]:
        cards = [{**asdict(card), "lies": card.lies} for card in self.cards]
        return {**asdict(self), "cards": cards, "how": how_to(self)}


def staking_sheet(
    place: Field,
    names: Sequence[str] = (),
    *,
    people: int = 1,
    tape_m: float = TAPE_M,
    decoys: int = 0,
    seed: int = 0,
) -> Sheet:
    """The sheet for the targets of `place` (all, or those named) and, after them, decoy pits.

    Raises ConfigError: an unknown name, or no room for so many decoys (says how many fit).
    """
    targets = [place.target_named(name) for name in names] or list(place.targets)
    cards = [_card(place, number, target, tape_m) for number, target in enumerate(targets, 1)]
    depths = [target.depth_m for target in place.targets] or [DECOY_DEPTH_M]
    chance = random.Random(seed)
    for number, at_m in enumerate(decoy_places(place, decoys, seed), 1):
        depth_m = min(chance.choice(depths), DECOY_DEPTH_M)
        pit = Target(f"decoy {number}", bytes(8), *at_m, depth_m)
        cards.append(_card(place, len(cards) + 1, pit, tape_m, is_decoy=True))
    return Sheet(place.name, people, tape_m, seed, pegs_of(place), checks_of(place), tuple(cards))


def decoy_places(place: Field, count: int, seed: int) -> list[Point]:
    """Places inside the ground and outside what is kept out, apart from targets and each other.

    The same for the same field and seed. Raises ConfigError when fewer fit.
    """
    chance = random.Random(seed)
    taken: list[Point] = [(target.x_m, target.y_m) for target in place.targets]
    found: list[Point] = []
    for _ in range(DECOY_TRIES * count):
        if len(found) == count:
            break
        at_m = (
            round(chance.uniform(0, place.width_m), 1),
            round(chance.uniform(0, place.height_m), 1),
        )
        apart = all(math.dist(at_m, other) >= DECOY_APART_M for other in (*taken, *found))
        if apart and _may_be_dug(place, at_m):
            found.append(at_m)
    if len(found) < count:
        raise ConfigError(
            f"there is no room for {count} decoy pits: {len(found)} fit, {DECOY_APART_M:g} m from "
            "each other and from the targets.",
            remedy="Ask for fewer.",
        )
    return found


def how_to(sheet: Sheet) -> list[str]:
    """The work in steps, one sentence or two each, for one person or for two."""
    pegs = "Put in the pegs and tape every side and diagonal listed; a diagonal that is off by "
    first = f"{pegs}more than {CHECK_WITHIN_M:g} m means that the corners are not square."
    if sheet.people == 1:
        work = [
            "Base line and offset: lay the tape, or a cord marked every metre, along the side "
            'named, nought at its first peg. Walk to "along", turn square off it (3 m back along '
            'the line, 4 m off it, 5 m between the two), go "off" metres.',
            "Or arcs: hook the tape on the first peg, walk out its length, scratch 2 m of arc into "
            "the snow; hook it on the second and do the same. The hole is where the arcs cross.",
        ]
    else:
        work = [
            "Two tapes: hook one on each of the two pegs. One of you holds both, pulled tight and "
            "level, and walks until they read the two lengths where they cross: there is the hole. "
            "The other reads, notes and takes the third length."
        ]
    return [
        first,
        *work,
        f'Check: the third tape must read "check" within {CHECK_WITHIN_M:g} m. Then plant a flag.',
        "Walk along the sides and come in to each hole from another one, so that no track leads "
        "from hole to hole. Dig decoys between the others. Take all flags out at the end.",
        "Write on each card what was really done. Count the targets out, and in again when you "
        "leave. Then `blindfield survey`.",
    ]


def _card(
    place: Field, number: int, target: Target, tape_m: float, *, is_decoy: bool = False
) -> Card:
    at_m = (target.x_m, target.y_m)
    line, along_m, offset_m = _base_line(place, at_m)
    origins = next_origins(place, at_m, tape_m=tape_m)
    pair = max(combinations(origins, 2), key=lambda two: _crossing_deg(place, at_m, *two))
    third = next((name for name in origins if name not in pair), None)
    arcs = (_length(place, at_m, pair[0]), _length(place, at_m, pair[1]))
    return Card(
        number=number,
        name=target.name,
        is_decoy=is_decoy,
        x_m=target.x_m,
        y_m=target.y_m,
        depth_m=target.depth_m,
        azimuth_deg=target.antenna_azimuth_deg,
        tilt_deg=target.antenna_tilt_deg,
        line=line,
        along_m=round(along_m, 2),
        offset_m=round(offset_m, 2),
        arcs=arcs,
        crossing_deg=round(_crossing_deg(place, at_m, *pair), 1),
        check=None if third is None else _length(place, at_m, third),
    )


def _base_line(place: Field, at_m: Point) -> tuple[str, float, float]:
    """(side, metres along it, metres off it), of the nearest side that has a foot for it."""
    found = []
    for line in sides_of(place):
        away = (at_m[0] - line.begin_m[0], at_m[1] - line.begin_m[1])
        along_m = away[0] * line.along[0] + away[1] * line.along[1]
        offset_m = away[0] * line.across[0] + away[1] * line.across[1]
        has_foot = 0.0 <= along_m <= line.length_m and offset_m >= 0.0
        found.append((not has_foot, abs(offset_m), line.name, along_m, offset_m))
    _, _, name, along_m, offset_m = min(found)
    return name, along_m, offset_m


def _length(place: Field, at_m: Point, origin: str) -> Length:
    return Length(origin, round(math.dist(point_named(place, origin), at_m), 2))


def _crossing_deg(place: Field, at_m: Point, one: str, other: str) -> float:
    """The angle at which two arcs cross, 0 to 90 degrees."""
    ax, ay = (p - q for p, q in zip(point_named(place, one), at_m, strict=True))
    bx, by = (p - q for p, q in zip(point_named(place, other), at_m, strict=True))
    angle = math.degrees(math.atan2(abs(ax * by - ay * bx), ax * bx + ay * by))
    return min(angle, 180.0 - angle)


def _may_be_dug(place: Field, at_m: Point) -> bool:
    kept_out = any(is_inside(out.corners_m, at_m) for out in place.keep_outs)
    return is_inside(place.outline_m, at_m) and not kept_out
