"""A plan as JSON: metres, degrees, minutes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from blindfield.console.plan_drawable import Drawable, Gain
from blindfield.field.plan import Hole, Plan
from blindfield.field.plan_moves import Move
from blindfield.field.plan_objective import Lying


def plan_json(
    made: Plan, field: str | None, drawable: Drawable, gains: Sequence[Gain]
) -> dict[str, Any]:
    """Plain JSON values. `drawable` is what the draw finds, `gains` what each of the moves adds;
    `kinds` and `problems` are what the planner's objective counts."""
    task = made.task
    return {
        "field": field,
        "seed": made.seed,
        "area_m": [list(corner) for corner in task.ground.outline_m],
        "starts": [asdict(start) for start in task.starts],
        "range_m": task.hearing.range_m,
        "range_spread_m": task.hearing.sigma_m,
        "people": task.sweat.people,
        "minutes_allowed": task.sweat.minutes,
        "minutes": round(made.minutes, 1),
        "objective": round(made.objective, 2),
        "objective_terms": {
            name: round(float(part[0]), 2) + 0.0 for name, part in made.terms._asdict().items()
        },
        "drawable": {"problems": drawable.problems, "kinds": drawable.kinds},
        "targets": [_target(one) for one in made.targets],
        "digging_order": [_hole(hole) for hole in made.holes],
        "kinds": {kind.value: count for kind, count in made.per_kind().items()},
        "absent": {kind.value: why for kind, why in made.absent.items()},
        "problems": [
            {**asdict(problem), "difficulty": difficulty}
            for problem, difficulty in zip(made.problems, made.difficulties, strict=True)
        ],
        "moves": [_move(*both) for both in zip(made.moves, gains, strict=True)],
    }


def _target(one: Lying) -> dict[str, Any]:
    values = asdict(one)
    del values["may_move"]
    return values


def _hole(hole: Hole) -> dict[str, Any]:
    track = hole.track
    return {
        "name": hole.target.name,
        "minutes": round(hole.minutes, 1),
        "enter_m": list(track.enter_m),
        "leave_m": list(track.leave_m),
        "clear_m": round(track.clear_m, 1) if math.isfinite(track.clear_m) else None,
        "over_keep_out": track.over_keep_out,
    }


def _move(move: Move, gain: Gain) -> dict[str, Any]:
    values = asdict(move)
    kinds = [kind.value for kind in move.new_kinds]
    return {
        **values,
        "target": move.target.name,
        "new_kinds": kinds,
        "drawable": {"more": gain.more, "new_kinds": list(gain.new_kinds)},
    }
