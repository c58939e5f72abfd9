"""A plan: where targets go, how deep and which way, what problems that makes, and the sweat."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from blindfield.field.labour import DEEP_M
from blindfield.field.plan_ground import Ground, sides_distance_m
from blindfield.field.plan_moves import Move, best_moves
from blindfield.field.plan_objective import Lying, Task, Terms, layouts_of, terms_of
from blindfield.field.plan_search import Effort, best_layouts
from blindfield.field.plan_signals import Layouts
from blindfield.field.plan_tracks import Track, digging_order
from blindfield.field.problems import (
    CLOSE_M,
    EDGE_M,
    KINDS,
    SIZE_OF,
    Difficulty,
    Kind,
    Problem,
    plain_difficulty,
    problems_of,
)
from blindfield.model.errors import ConfigError
from blindfield.physics.arrays import Floats

COUNT_RANGE = (1, 16)
DEFAULT_TARGETS = 8
FINALISTS = 6
EFFORT = Effort()
_OUT = (Kind.PAIR_OUT, Kind.THREE_FAR)
_CLOSE = (Kind.PAIR_CLOSE, Kind.THREE_CLOSE)
_DEEP = (Kind.DEEP, Kind.PAIR_DEEP, Kind.THREE_DEEP)


@dataclass(frozen=True)
class Hole:
    """A target to bury, in the order to dig."""

    target: Lying
    minutes: float
    track: Track


@dataclass(frozen=True)
class Plan:
    """`targets` are all of them, those that lie already first; `holes` those to bury.

    `seed` is None for a layout that was given. `terms` add up to the objective. `absent` tells of
    every kind without a problem why.
    """

    task: Task
    seed: int | None
    targets: tuple[Lying, ...]
    holes: tuple[Hole, ...]
    problems: tuple[Problem, ...]
    difficulties: tuple[float, ...]
    terms: Terms
    absent: dict[Kind, str]
    moves: tuple[Move, ...]

    @property
    def objective(self) -> float:
        return float(self.terms.value[0])

    @property
    def minutes(self) -> float:
        """For everything to bury, with pegging; 0 when nothing is to be buried."""
        depths_m = np.array([hole.target.depth_m for hole in self.holes])
        return float(self.task.sweat.total_minutes(depths_m)) if self.holes else 0.0

    def per_kind(self) -> dict[Kind, int]:
        """Problems of every kind, none left out."""
        counted = Counter(problem.kind for problem in self.problems)
        return {kind: counted[kind] for kind in KINDS}


def plan(
    task: Task,
    *,
    seed: int,
    names: Sequence[str] = (),
    difficulty: Difficulty = plain_difficulty,
    effort: Effort | None = None,
    with_moves: bool = True,
) -> Plan:
    """The best plan found for `task`, the same for the same seed.

    New targets take `names`, then the first numbers that are free. Of layouts worth the same, that
    one is taken whose problems differ most in `difficulty`. Raises ConfigError when the targets do
    not fit the ground, the snow or the sweat, with how many do.
    """
    _check(task)
    found = best_layouts(task, seed, effort or EFFORT, FINALISTS)
    kept = np.flatnonzero(terms_of(task, found).broken == 0).tolist()
    if not kept:
        raise _no_room(task)
    plans = [_planned(task, _row(found, row), seed, names, difficulty) for row in kept]
    best = max(plans, key=lambda one: float(np.std(one.difficulties)))
    return _with_moves(best) if with_moves and task.lying else best


def plan_as_given(
    task: Task, targets: Sequence[Lying], difficulty: Difficulty = plain_difficulty
) -> Plan:
    """The plan of a layout that somebody chose: its problems, sweat and digging order.

    `targets` are to be buried; `task` has as many new ones. Raises ConfigError as `plan` does.
    """
    _check(task)
    one = layouts_of((*task.lying, *targets), task.ground)
    if terms_of(task, one).broken[0] < 0:
        raise ConfigError(
            "this layout breaks the rules given.",
            remedy="Allow more minutes, deeper snow or less distance between targets.",
        )
    names = [target.name for target in targets]
    return _planned(task, one, None, names, difficulty)


def _row(layouts: Layouts, row: int) -> Layouts:
    return Layouts(*(part[row : row + 1] for part in layouts))


def _planned(
    task: Task, layouts: Layouts, seed: int | None, names: Sequence[str], difficulty: Difficulty
) -> Plan:
    lying = len(task.lying)
    tracks = digging_order(task.ground, layouts.xy_m[0, lying:], layouts.xy_m[0, :lying])
    fresh = _names(names, [one.name for one in task.lying], task.new)
    holes = []
    for name, track in zip(fresh, tracks, strict=True):
        target = _target(name, layouts, lying + track.target)
        minutes = float(task.sweat.target_minutes(np.array(target.depth_m)))
        holes.append(Hole(target, minutes, track))
    targets = (*task.lying, *(hole.target for hole in holes))
    built = layouts_of(targets, task.ground)
    starts = {start.name: (start.x_m, start.y_m) for start in task.starts}
    problems = problems_of(built, tuple(one.name for one in targets), starts, task.hearing)
    return Plan(
        task,
        seed,
        targets,
        tuple(holes),
        tuple(problems),
        tuple(difficulty(problem) for problem in problems),
        terms_of(task, built),
        _absent(task, {problem.kind for problem in problems}),
        (),
    )


def _with_moves(one: Plan) -> Plan:
    """Moves are of targets that lie, while the new ones stay as planned."""
    may = {target.name for target in one.task.lying if target.may_move}
    lying = tuple(replace(target, may_move=target.name in may) for target in one.targets)
    task = replace(one.task, lying=lying, new=0)
    return replace(one, moves=tuple(best_moves(task)))


def _names(given: Sequence[str], taken: Iterable[str], count: int) -> list[str]:
    used = {*taken, *given}
    free = (str(number) for number in range(1, 10_000) if str(number) not in used)
    return [*given[:count], *(next(free) for _ in range(count - len(given)))]


def _target(name: str, layouts: Layouts, place: int) -> Lying:
    x_m, y_m = (round(float(value), 3) for value in layouts.xy_m[0, place])
    axis: Floats = layouts.axis[0, place]
    azimuth_deg = round(float(np.degrees(np.arctan2(axis[0], axis[1]))), 1)
    tilt_deg = round(float(np.degrees(np.arcsin(np.clip(axis[2], -1.0, 1.0)))), 1)
    if abs(tilt_deg) == 90.0:
        azimuth_deg = 0.0
    depth_m = round(float(layouts.depth_m[0, place]), 3)
    return Lying(name, x_m, y_m, depth_m, azimuth_deg % 180.0, tilt_deg)


def _check(task: Task) -> None:
    least, most = COUNT_RANGE
    if not least <= task.count <= most:
        raise ConfigError(
            f"a plan of {task.count} targets cannot be made.", remedy=f"Say {least} to {most}."
        )
    if task.separation_m < 0 or not np.isfinite(task.separation_m):
        raise ConfigError("targets cannot be nearer than 0 m.", remedy="Say --apart 4.")
    if task.depths.deep is not None and task.depths.deep > task.count:
        raise ConfigError(
            f"{task.depths.deep} of {task.count} targets cannot lie deep.",
            remedy=f"Say --deep 0 to {task.count}.",
        )
    if not task.new:
        return
    task.sweat.check(task.new)
    if task.ground.room_at_most(task.separation_m) < task.new:
        raise _no_room(task)


def _no_room(task: Task) -> ConfigError:
    lying_m = np.array([(one.x_m, one.y_m) for one in task.lying]).reshape(-1, 2)
    room = task.ground.room_found(task.separation_m, lying_m)
    return ConfigError(
        f"no room was found for {task.new} {'more ' if task.lying else ''}targets "
        f"{task.separation_m:g} m apart; {min(room, task.new - 1)} fit.",
        remedy="Take fewer targets, a larger area, or less distance with --apart.",
    )


def _absent(task: Task, made: set[Kind]) -> dict[Kind, str]:
    """Why each kind that has no problem has none."""
    return {kind: _why_not(task, kind) for kind in KINDS if kind not in made}


def _why_not(task: Task, kind: Kind) -> str:
    if task.count < SIZE_OF[kind]:
        return f"needs {SIZE_OF[kind]} targets"
    longest_m, lost_m = task.ground.longest_m, task.hearing.lost_m
    if kind in _OUT and longest_m <= lost_m:
        return (
            f"cannot be made here: a receiver of {task.hearing.range_m:g} m needs targets more "
            f"than {lost_m:g} m apart, this ground gives {longest_m:.0f} m"
        )
    if kind in _CLOSE and task.separation_m >= CLOSE_M:
        return f"cannot be made with targets {task.separation_m:g} m apart"
    lying_deep = any(one.depth_m > DEEP_M for one in task.lying)
    if kind in _DEEP and not task.deep_allowed and not lying_deep:
        limit_m = task.depths.limit_m
        return "no target may lie deep" if limit_m > DEEP_M else f"depths here end at {limit_m:g} m"
    if kind is Kind.EDGE and not _has_edge(task.ground):
        return f"no place lies within {EDGE_M:g} m of the rim"
    return "not in this plan"


def _has_edge(ground: Ground) -> bool:
    return bool((sides_distance_m(ground.outline_m, ground.places_m) < EDGE_M).any())
