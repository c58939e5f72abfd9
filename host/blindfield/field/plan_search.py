"""Looks for the layout that is worth most: scipy's differential evolution, many layouts at once."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from scipy.optimize import differential_evolution

from blindfield.field.labour import DEEP_M
from blindfield.field.plan_objective import Task, Terms, terms_of
from blindfield.field.plan_signals import Layouts
from blindfield.model.errors import ConfigError
from blindfield.physics.arrays import Floats
from blindfield.physics.dipole import moment_of

_A_TARGET = 4  # numbers: x, y, depth, attitude
_JUDGED_AT_ONCE = 2048
_FEW, _MANY = 6, 8


class Way(NamedTuple):
    """Settings of scipy's differential evolution; found by trying, on 8 targets and on the spread
    of 7 points."""

    members: int  # layouts a number
    recombination: float
    mutation: tuple[float, float]


WAYS = (Way(2, 0.95, (0.5, 1.0)), Way(1, 0.5, (0.2, 0.5)))


@dataclass(frozen=True)
class Effort:
    """How long to look: generations at most, begun anew `begins` times with the ways in turn, more
    often for few targets, which cost little, and once for many."""

    generations: int = 600
    begins: int = 2

    def begins_for(self, targets: int) -> int:
        return 1 if targets > _MANY else self.begins * max(1, _FEW // targets)


@dataclass(frozen=True)
class Coding:
    """Turns numbers in [0, 1) (b, 4 n) into layouts: every one on the ground's free places, at
    depths in use, no more of them deep than may be."""

    task: Task

    @property
    def size(self) -> int:
        return _A_TARGET * self.task.new

    def layouts(self, numbers: Floats) -> Layouts:
        task = self.task
        number = numbers.reshape(len(numbers), task.new, _A_TARGET)
        corners_m = np.array(task.ground.outline_m)
        low_m, high_m = corners_m.min(axis=0), corners_m.max(axis=0)
        xy_m = task.ground.snapped(low_m + number[..., :2] * (high_m - low_m))
        count = len(self._axes)
        attitude = np.minimum((number[..., 3] * count).astype(int), count - 1)
        return task.layouts(xy_m, self._depths(number[..., 2]), self._axes[attitude])

    @cached_property
    def _axes(self) -> Floats:
        azimuth_deg, tilt_deg = np.array(self.task.attitudes_deg).T
        return moment_of(1.0, azimuth_deg, tilt_deg)

    def _depths(self, number: Floats) -> Floats:
        """The greatest numbers lie deep, as many as may; the others at the deepest that is not."""
        steps_m = np.array(self.task.depths.steps_m)
        depth_m = steps_m[np.minimum((number * len(steps_m)).astype(int), len(steps_m) - 1)]
        rank = np.argsort(np.argsort(-number, axis=1, kind="stable"), axis=1, kind="stable")
        shallow_m = steps_m[steps_m <= DEEP_M].max(initial=steps_m[0])
        too_many = (rank >= self.task.deep_allowed) & (depth_m > DEEP_M)
        depths: Floats = np.where(too_many, shallow_m, depth_m)
        return depths


def random_layouts(task: Task, count: int, seed: int) -> tuple[Layouts, Terms]:
    """`count` layouts drawn evenly from all that keep the rules, and what they are worth.

    Raises ConfigError when hardly any random layout keeps them.
    """
    rng, coding = np.random.default_rng(seed), Coding(task)
    kept: list[Layouts] = []
    found = 0
    for _ in range(200):
        layouts = coding.layouts(rng.random((_JUDGED_AT_ONCE, coding.size)))
        good = np.flatnonzero(terms_of(task, layouts).broken == 0)
        kept.append(Layouts(*(part[good] for part in layouts)))
        found += len(good)
        if found >= count:
            chosen = Layouts(*(np.concatenate(parts)[:count] for parts in zip(*kept, strict=True)))
            return chosen, terms_of(task, chosen)
    raise ConfigError(f"only {found} random layouts keep the rules.", remedy="Loosen them.")


def best_layouts(task: Task, seed: int, effort: Effort, most: int) -> Layouts:
    """The best layouts found, best first, at most `most`, none twice; the same for the same seed.

    Those after the first are worth almost as much. A layout may break rules when none was found
    that keeps them: see `terms_of`.
    """
    coding = Coding(task)
    if not task.new:
        return coding.layouts(np.zeros((1, 0)))
    seeds = np.random.SeedSequence(seed).spawn(effort.begins_for(task.new))
    ways = zip(seeds, itertools.cycle(WAYS), strict=False)
    numbers = np.concatenate([_evolved(coding, one, way, effort.generations) for one, way in ways])
    layouts = coding.layouts(numbers)
    values = terms_of(task, layouts).value
    chosen: list[int] = []
    for row in np.argsort(-values, kind="stable").tolist():
        if values[row] < values.max() - _ALMOST * abs(values.max()) or len(chosen) == most:
            break
        if not any(_same(layouts, row, other) for other in chosen):
            chosen.append(row)
    return Layouts(*(part[chosen] for part in layouts))


_ALMOST = 0.001


def _same(layouts: Layouts, row: int, other: int) -> bool:
    return all(np.array_equal(part[row], part[other]) for part in layouts)


def _evolved(coding: Coding, seed: np.random.SeedSequence, way: Way, generations: int) -> Floats:
    """The last generation (m, 4 n) of one evolution."""

    def cost(numbers: Floats) -> Floats:
        """Of layouts in columns, as the solver hands them in."""
        return -terms_of(coding.task, coding.layouts(np.atleast_2d(numbers.T))).value

    result = differential_evolution(
        cost,
        [(0.0, 1.0)] * coding.size,
        strategy="best1bin",
        recombination=way.recombination,
        mutation=way.mutation,
        popsize=way.members,
        maxiter=generations,
        tol=0.0,
        polish=False,
        init="sobol",
        updating="deferred",
        vectorized=True,
        seed=np.random.default_rng(seed),
    )
    return np.asarray(result.population)
