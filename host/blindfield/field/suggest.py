"""Where to hold the tape next, so that the readings of a target check each other.

Three tapes check each other when no two of them come from the same or from opposite directions:
at the middle of a field, three of its four corners do not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from itertools import combinations

import numpy as np

from blindfield.field.pegs import half_way_marks, pegs_of, point_named
from blindfield.field.survey import Kind, Reading, slopes_at
from blindfield.model.field import Field, Point
from blindfield.physics.arrays import Floats, Ints

TAPE_M = 50.0
NEAREST_M = 2.0  # closer to a peg, a place a little off turns the tape's direction about
GOOD_SHARE = 0.15  # a metre of error then stands out at 3.9 times its standard deviation
MARK_COST = 0.03  # a mark needs a second tape along the side; a peg stands
LENGTH_COST = 0.001  # a metre
LEAST_WEIGHT = 0.01  # below it all tapes come from one direction: the place is off by 1 m and more
MOST_TRIED = 12  # of a ground with many corners the nearest serve


def next_origins(
    place: Field,
    at_m: Point,
    have: Sequence[Reading] = (),
    *,
    count: int = 3,
    tape_m: float = TAPE_M,
    skip: frozenset[str] = frozenset(),
) -> tuple[str, ...]:
    """The `count` pegs or marks whose tapes, with the readings at hand, check each other best.

    Each within `tape_m` of `at_m`, where the target is thought to lie, unless too few are; none of
    `skip`. Fewer come back where the ground has no more pegs.
    """
    used = frozenset(reading.origin for reading in have if reading.kind is Kind.TAPE)
    return _best(place, at_m, tuple(have), used | skip, count, tape_m)


@lru_cache(maxsize=256)
def _best(
    place: Field,
    at_m: Point,
    have: tuple[Reading, ...],
    used: frozenset[str],
    count: int,
    tape_m: float,
) -> tuple[str, ...]:
    near = _near_to_far(place, at_m, count + len(used), tape_m)
    free = [name for name in near if name not in used]
    count = min(count, len(free))
    if count == 0:
        return ()
    sets = np.array(list(combinations(range(len(free)), count)))
    best = sets[int(np.argmax(_worth(place, at_m, have, free, sets)))]
    return tuple(free[n] for n in best)


def _near_to_far(place: Field, at_m: Point, least: int, tape_m: float) -> list[str]:
    """Pegs and half-way marks in reach; those beyond the tape only where fewer than `least` are."""
    names = [*pegs_of(place), *half_way_marks(place)]
    away_m = {name: math.dist(point_named(place, name), at_m) for name in names}
    fit = sorted((n for n in names if away_m[n] >= NEAREST_M), key=lambda name: away_m[name])
    if len(fit) < least:
        fit = sorted(names, key=lambda name: -away_m[name])  # a small ground: the farthest serve
    within = [name for name in fit if away_m[name] <= tape_m]
    return fit[: max(least, min(len(within), MOST_TRIED))]


def _worth(
    place: Field, at_m: Point, have: tuple[Reading, ...], free: list[str], sets: Ints
) -> Floats:
    """(k,) how good each of the (k, count) sets of `free` is."""
    away_m = np.array([math.dist(point_named(place, name), at_m) for name in free])
    tapes = [Reading(Kind.TAPE, name, 0.0) for name in free]
    slopes = slopes_at(place, [*have, *tapes], at_m)
    old = np.broadcast_to(slopes[: len(have)], (len(sets), len(have), 2))
    chosen = np.concatenate([old, slopes[len(have) :][sets]], axis=1)
    normal = np.einsum("kni,knj->kij", chosen, chosen)
    weak = np.linalg.eigvalsh(normal)[:, 0]
    one_way = weak < LEAST_WEIGHT
    normal[one_way] = np.eye(2)
    shares = 1.0 - np.einsum("kni,kij,knj->kn", chosen, np.linalg.inv(normal), chosen)
    worst = np.where(one_way, -1.0, shares.min(axis=1) if chosen.shape[1] > 2 else weak)
    marks = np.array([len(name) > 1 for name in free])[sets].sum(axis=1)
    cost: Floats = MARK_COST * marks + LENGTH_COST * away_m[sets].sum(axis=1)
    worth: Floats = np.minimum(worst, GOOD_SHARE) + worst / 10 - cost
    return worth
