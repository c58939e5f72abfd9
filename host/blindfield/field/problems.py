"""What problems a layout holds. A problem is a set of targets, and the order in which their signals
come into range from a start; from one set, starts that give the same order count once.

The signal that a receiver at the start would show as the nearest comes into range first: it needs
the least range. That is not always the nearest target, for antennas lie differently.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from blindfield.field.labour import DEEP_M
from blindfield.field.plan_signals import Hearing, Layouts, shown_m
from blindfield.model.field import Point
from blindfield.physics.arrays import Floats, Ints

CLOSE_M = 10.0
EDGE_M = 4.0  # a search led to the rim of the ground; ours
ORDER_MARGIN_M = 1.0  # shown distances nearer than this may come in either way; ours


class Kind(StrEnum):
    """A problem is of one kind: the last that fits, in the order of its size's line."""

    SINGLE = "single"
    EDGE = "single at the edge"
    DEEP = "single, deep"
    PAIR = "pair in range of each other"
    PAIR_DOUBTFUL = "pair at the limit of range"
    PAIR_DEEP = "pair, one or both deep"
    PAIR_CLOSE = "close pair"
    PAIR_OUT = "pair out of range of each other"
    THREE = "three"
    THREE_DEEP = "three, with a deep one"
    THREE_FAR = "three, one out of range of both others"
    THREE_CLOSE = "three, two of them close"


KINDS = tuple(Kind)
SIZE_OF = {kind: 1 + (kind in KINDS[3:]) + (kind in KINDS[8:]) for kind in KINDS}
_CODE = {kind: code for code, kind in enumerate(KINDS)}


@dataclass(frozen=True)
class Problem:
    """`order`: the targets' names as their signals come into range; `starts` that give it.

    Of the target sets whose order no start makes certain, `order` is only likely and `sure` False.
    `shown_m` are the distances shown at the first of `starts`, `depth_m` go with `order`;
    `least_apart_m` is between the two nearest (None for one target).
    """

    kind: Kind
    order: tuple[str, ...]
    starts: tuple[str, ...]
    shown_m: tuple[float, ...]
    depth_m: tuple[float, ...]
    least_apart_m: float | None
    sure: bool = True


Difficulty = Callable[[Problem], float]


def plain_difficulty(problem: Problem) -> float:
    """1 a target, and a half each for deep, close, and out of range: ours, without a model."""
    deep = sum(depth_m > DEEP_M for depth_m in problem.depth_m)
    close = problem.kind in (Kind.PAIR_CLOSE, Kind.THREE_CLOSE)
    far = problem.kind in (Kind.PAIR_OUT, Kind.THREE_FAR)
    return len(problem.order) + 0.5 * (deep + close + far)


class Sets(NamedTuple):
    """The pairs (p, 2) and threes (t, 3) of n targets; `sides` (t, 3): the pairs of a three."""

    pairs: Ints
    threes: Ints
    sides: Ints


@lru_cache(maxsize=32)
def sets_of(count: int) -> Sets:
    pairs = list(combinations(range(count), 2))
    threes = list(combinations(range(count), 3))
    sides = [[pairs.index(side) for side in combinations(three, 2)] for three in threes]
    return Sets(
        np.array(pairs, dtype=np.int64).reshape(-1, 2),
        np.array(threes, dtype=np.int64).reshape(-1, 3),
        np.array(sides, dtype=np.int64).reshape(-1, 3),
    )


def apart(xy_m: Floats) -> Floats:
    """Distances (b, p) between the targets (b, n, 2), by pairs."""
    first, second = sets_of(xy_m.shape[1]).pairs.T
    between_m = xy_m[:, first] - xy_m[:, second]
    return np.asarray(np.sqrt(np.einsum("...i,...i->...", between_m, between_m)))


class Judged(NamedTuple):
    """The sets of many layouts: the code of each one's kind (its place in KINDS) and how many
    problems it makes, for singles (b, n), pairs (b, p) and threes (b, t); `apart_m` (b, p);
    `signs` (b, s, p): +1 where from a start the pair's first comes in first, 0 unsure."""

    kinds: tuple[Ints, Ints, Ints]
    counts: tuple[Ints, Ints, Ints]
    apart_m: Floats
    shown_m: Floats
    signs: Ints

    def per_kind(self) -> Ints:
        """Problems (b, kinds) of each kind."""
        batch, width = len(self.apart_m), len(KINDS)
        codes = np.concatenate(self.kinds, axis=1) + width * np.arange(batch)[:, None]
        counts = np.concatenate(self.counts, axis=1)
        total = np.bincount(codes.ravel(), counts.ravel(), minlength=batch * width)
        return total.astype(np.int64).reshape(batch, width)


def judge(layouts: Layouts, starts_m: Floats, hearing: Hearing) -> Judged:
    """The problems of many layouts, from starts (s, 2)."""
    sets = sets_of(layouts.xy_m.shape[1])
    first, second = sets.pairs.T
    apart_m = apart(layouts.xy_m)
    mutual_m = shown_m(layouts.xy_m, layouts)
    mutual_m = np.maximum(mutual_m[:, first, second], mutual_m[:, second, first])
    from_starts_m = shown_m(starts_m[None], layouts)
    ahead_m = from_starts_m[:, :, second] - from_starts_m[:, :, first]
    signs = np.where(np.abs(ahead_m) < ORDER_MARGIN_M, 0, np.sign(ahead_m)).astype(np.int64)
    deep = np.asarray(layouts.depth_m > DEEP_M, dtype=np.bool_)
    out = np.asarray(apart_m > hearing.lost_m, dtype=np.bool_)
    close = np.asarray(apart_m < CLOSE_M, dtype=np.bool_)
    kinds = (
        _coded(Kind.SINGLE, {Kind.EDGE: layouts.edge_m < EDGE_M, Kind.DEEP: deep}),
        _coded(
            Kind.PAIR,
            {
                Kind.PAIR_DOUBTFUL: mutual_m > hearing.sure_m,
                Kind.PAIR_DEEP: deep[:, sets.pairs].any(axis=2),
                Kind.PAIR_CLOSE: close,
                Kind.PAIR_OUT: out,
            },
        ),
        _coded(
            Kind.THREE,
            {
                Kind.THREE_DEEP: deep[:, sets.threes].any(axis=2),
                Kind.THREE_FAR: out[:, sets.sides].sum(axis=2) >= 2,
                Kind.THREE_CLOSE: close[:, sets.sides].any(axis=2),
            },
        ),
    )
    ones = np.ones(layouts.depth_m.shape, dtype=np.int64)
    counts = (ones, _orders_of_pairs(signs), _orders_of_threes(signs, sets.sides))
    return Judged(kinds, counts, apart_m, from_starts_m, signs)


def _coded(plain: Kind, special: dict[Kind, ArrayLike]) -> Ints:
    """The codes of kinds: the last of `special` that holds, else `plain`."""
    codes = np.full(np.shape(next(iter(special.values()))), _CODE[plain], dtype=np.int64)
    for kind, holds in special.items():
        codes[np.asarray(holds, dtype=np.bool_)] = _CODE[kind]
    return codes


def _orders_of_pairs(signs: Ints) -> Ints:
    both = (signs > 0).any(axis=1).astype(np.int64) + (signs < 0).any(axis=1)
    return np.maximum(both, 1)


def _orders_of_threes(signs: Ints, sides: Ints) -> Ints:
    """Different orders (b, t) among the starts, by the `sides` (t, 3) of each three in signs
    (b, s, p): an order is the three signs, one bit each. At least the set itself."""
    first = (signs > 0).astype(np.uint8)
    code = first[:, :, sides[:, 0]] + 2 * first[:, :, sides[:, 1]] + 4 * first[:, :, sides[:, 2]]
    sure = (signs != 0)[:, :, sides].all(axis=3)
    seen = np.bitwise_or.reduce(np.where(sure, _BIT[code], _NONE), axis=1)
    return np.maximum(_BITS[seen], 1)


_NONE = np.uint8(0)
_BIT = (1 << np.arange(8)).astype(np.uint8)
_BITS = np.array([bin(mask).count("1") for mask in range(256)], dtype=np.int64)


def problems_of(
    layouts: Layouts, names: tuple[str, ...], starts: dict[str, Point], hearing: Hearing
) -> list[Problem]:
    """Every problem of the first of `layouts`, by kind, then by names."""
    judged = judge(layouts, np.array(list(starts.values())), hearing)
    sets = sets_of(len(names))
    found: list[Problem] = []
    members = (np.arange(len(names))[:, None], sets.pairs, sets.threes)
    for codes, chosen in zip(judged.kinds, members, strict=True):
        for code, one in zip(codes[0], chosen.tolist(), strict=True):
            found += _orders(KINDS[code], one, judged, layouts, names, tuple(starts))
    return sorted(found, key=lambda problem: (_CODE[problem.kind], problem.order))


def _orders(
    kind: Kind,
    members: list[int],
    judged: Judged,
    layouts: Layouts,
    names: tuple[str, ...],
    starts: tuple[str, ...],
) -> list[Problem]:
    shown = judged.shown_m[0][:, members]
    ranked = np.sort(shown, axis=1)
    sure = (np.diff(ranked, axis=1) >= ORDER_MARGIN_M).all(axis=1)
    orders: dict[tuple[int, ...], list[int]] = {}
    for start in np.flatnonzero(sure).tolist():
        orders.setdefault(_ordered(members, shown[start]), []).append(start)
    if not orders:
        orders[_ordered(members, shown[0])] = list(range(len(starts)))
    apart_m = apart(layouts.xy_m[:1, members])[0].tolist()
    return [
        Problem(
            kind=kind,
            order=tuple(names[member] for member in order),
            starts=tuple(starts[start] for start in where),
            shown_m=tuple(float(judged.shown_m[0, where[0], member]) for member in order),
            depth_m=tuple(float(layouts.depth_m[0, member]) for member in order),
            least_apart_m=min(apart_m, default=None),
            sure=bool(sure.any()),
        )
        for order, where in orders.items()
    ]


def _ordered(members: list[int], shown_m: Floats) -> tuple[int, ...]:
    return tuple(members[place] for place in np.argsort(shown_m, kind="stable").tolist())
