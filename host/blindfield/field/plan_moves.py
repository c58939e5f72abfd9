"""What one move would bring: "move no. 5 here: 9 problems more"."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from blindfield.field.labour import DEEPEST_M, Depths, Sweat
from blindfield.field.plan_objective import Lying, Task, layouts_of, terms_of
from blindfield.field.plan_signals import Layouts
from blindfield.field.problems import KINDS, Kind, judge
from blindfield.physics.arrays import Floats
from blindfield.physics.dipole import moment_of

MOST_PLACES = 500  # looked at for each target, evenly over the ground
LEAST_WORTH = 1.0
LIFT_SHARE = 0.5  # digging one out takes half of burying it: common practice, no source


@dataclass(frozen=True)
class Move:
    """One target dug out and buried elsewhere at its depth: `more` problems than now (fewer where
    negative), of `new_kinds` for the first time."""

    target: Lying
    x_m: float
    y_m: float
    antenna_azimuth_deg: float
    antenna_tilt_deg: float
    more: int
    new_kinds: tuple[Kind, ...]
    worth: float  # what the objective gains, sweat left out
    minutes: float


def best_moves(task: Task) -> list[Move]:
    """For each target that may move, the best place for it; only those worth a problem or more,
    the most worth first."""
    moves = [_best(task, place) for place, one in enumerate(task.lying) if one.may_move]
    found = [move for move in moves if move is not None and move.worth >= LEAST_WORTH]
    return sorted(found, key=lambda move: (-move.worth, move.target.name))


def _best(task: Task, place: int) -> Move | None:
    one = task.lying[place]
    rest = (*task.lying[:place], *task.lying[place + 1 :])
    single = replace(
        task,
        lying=rest,
        new=1,
        sweat=Sweat(task.sweat.people),
        depths=Depths(snow_m=2 * DEEPEST_M, deep=task.count, deepest_m=DEEPEST_M),
    )
    now = layouts_of((*rest, one), task.ground)
    stride = -(-len(task.ground.places_m) // MOST_PLACES)
    xy_m = np.repeat(task.ground.places_m[::stride], len(task.attitudes_deg), axis=0)[:, None]
    angles_deg = np.tile(np.array(task.attitudes_deg), (len(xy_m) // len(task.attitudes_deg), 1))
    axes: Floats = moment_of(1.0, angles_deg[:, 0], angles_deg[:, 1])[:, None]
    layouts = single.layouts(xy_m, np.full((len(xy_m), 1), one.depth_m), axes)
    terms = terms_of(single, layouts)
    values = np.where(terms.broken == 0, terms.value, -np.inf)
    best = int(values.argmax())
    if not np.isfinite(values[best]):
        return None
    chosen = Layouts(*(part[best : best + 1] for part in layouts))
    before, after = (
        judge(some, task.starts_m, task.hearing).per_kind()[0] for some in (now, chosen)
    )
    minutes = (1.0 + LIFT_SHARE) * float(task.sweat.target_minutes(np.array(one.depth_m)))
    return Move(
        one,
        float(xy_m[best, 0, 0]),
        float(xy_m[best, 0, 1]),
        float(angles_deg[best, 0]),
        float(angles_deg[best, 1]),
        int(after.sum() - before.sum()),
        tuple(KINDS[code] for code in np.flatnonzero((after > 0) & (before == 0))),
        float(values[best] - terms_of(single, now).value[0]),
        minutes,
    )
