"""Which reading is bad: the readings of a target judged against each other.

Data snooping (W. Baarda, "A testing procedure for use in geodetic networks", 1968; from memory):
a residual over its own standard deviation, w = v / (sigma sqrt(share)), is normal unless a reading
is wrong. With three readings all three |w| are equal: then only the target can be named. From four
on each reading is left out in turn; the one whose absence makes the others agree is the bad one,
unless another's absence does nearly as well.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from blindfield.field.survey import READING_SIGMA_M, Adjusted, Reading, adjust
from blindfield.model.field import Field, Point
from blindfield.physics.arrays import Floats

CRITICAL = 3.0  # of |w|: some 3 of 1000 good triples are asked about in vain
CLEAR = 6.0  # the misfits of two culprits differ by so much, or neither is named (20:1 in odds)
ENOUGH = 3
MOST = 7  # who still disagrees after so many has the wrong target or a moved peg
LEAST_SHARE = 0.05  # below it, a metre of error in that reading would go unseen as often as not


@dataclass(frozen=True)
class Judgement:
    """`place` is None until two readings fix one. `bad` and `suspects` index the readings.

    `bad` are left out of `place`. While `disagrees` holds and none is named, `suspects` are those
    that may be it, `place` is that without the likeliest of them (of three readings: with all),
    and `doubt_m` how far off the place without another one would be. `unchecked` are readings that
    the others say nothing about. `wanted`: how many more to ask for.
    """

    readings: tuple[Reading, ...]
    place: Adjusted | None = None
    disagrees: bool = False
    bad: tuple[int, ...] = ()
    suspects: tuple[int, ...] = ()
    doubt_m: float = 0.0
    unchecked: tuple[int, ...] = ()
    wanted: int = ENOUGH

    @property
    def kept(self) -> tuple[int, ...]:
        """The readings that are not bad."""
        return tuple(n for n in range(len(self.readings)) if n not in self.bad)


def judge(
    place: Field, readings: Sequence[Reading], near_m: Point, sigma_m: float = READING_SIGMA_M
) -> Judgement:
    """What the readings of one target say together; `near_m` is where it was planned."""
    readings = tuple(readings)
    if len(readings) < 2:
        return Judgement(readings, wanted=ENOUGH - len(readings))
    found = adjust(place, readings, near_m, sigma_m)
    if _agree(found, sigma_m):
        return _agreed(readings, found, ())
    if len(readings) <= ENOUGH:
        everyone = tuple(range(len(readings)))
        wanted = len(readings) - 1  # a third; of three that disagree any may be it: two more
        return Judgement(readings, found, disagrees=True, suspects=everyone, wanted=wanted)
    return _without_the_bad(place, readings, near_m, sigma_m)


def worst_w(found: Adjusted, sigma_m: float = READING_SIGMA_M) -> float:
    """The largest |w|; inf for two tapes that do not meet."""
    if found.spare == 0:
        return float("inf") if np.max(np.abs(found.residuals_m)) > 4 * sigma_m else 0.0
    return float(np.max(_w(found, sigma_m)))


def _w(found: Adjusted, sigma_m: float) -> Floats:
    scale = sigma_m * np.sqrt(np.maximum(found.shares, 1e-6))
    w: Floats = np.abs(found.residuals_m) / scale
    return w


def _agree(found: Adjusted, sigma_m: float) -> bool:
    return worst_w(found, sigma_m) <= CRITICAL


def _agreed(readings: tuple[Reading, ...], found: Adjusted, bad: tuple[int, ...]) -> Judgement:
    kept = [n for n in range(len(readings)) if n not in bad]
    weak = tuple(n for n, share in zip(kept, found.shares, strict=True) if share < LEAST_SHARE)
    short = max(0, ENOUGH - len(kept))
    doubt = bool(weak) or found.other_m is not None
    wanted = short or (1 if doubt and len(readings) < MOST else 0)
    return Judgement(readings, found, bad=bad, unchecked=() if short else weak, wanted=wanted)


def _without_the_bad(
    place: Field, readings: tuple[Reading, ...], near_m: Point, sigma_m: float
) -> Judgement:
    """Four readings or more that disagree, each left out in turn."""
    trials = []
    for left_out in range(len(readings)):
        others = [*readings[:left_out], *readings[left_out + 1 :]]
        trials.append((left_out, adjust(place, others, near_m, sigma_m)))
    trials.sort(key=lambda trial: trial[1].misfit)
    first, rest = trials[0]
    alone = _agree(rest, sigma_m)
    likely = [(n, other) for n, other in trials if not alone or other.misfit - rest.misfit < CLEAR]
    if alone and len(likely) == 1:
        return _agreed(readings, rest, (first,))
    return Judgement(
        readings,
        rest,
        disagrees=True,
        suspects=tuple(sorted(n for n, _ in likely)),
        doubt_m=max(math.dist((rest.x_m, rest.y_m), (at.x_m, at.y_m)) for _, at in likely),
        wanted=1 if len(readings) < MOST else 0,
    )
