"""What a plan is worth: its problems, the kinds filled, less the sweat and what gives it away."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import NamedTuple

import numpy as np

from blindfield.field.labour import DEEP_M, Depths, Sweat
from blindfield.field.plan_ground import Ground
from blindfield.field.plan_signals import Hearing, Layouts
from blindfield.field.problems import KINDS, Kind, apart, judge, sets_of
from blindfield.model.field import StartPoint
from blindfield.physics.arrays import Floats, Ints
from blindfield.physics.dipole import moment_of

FULL_KIND = 3  # problems that make a kind worth having
SEPARATION_M = 4.0  # two dug holes with their ramps stay apart: common practice, no source
LINE_M = 2.0  # three targets nearer than this to one line give each other away; ours
TWIN_M = 3.0  # a mirror image as near as this; ours
# How an antenna may be laid, azimuth and tilt: level along four lines easily seen, or upright.
ATTITUDES_DEG = ((0.0, 0.0), (45.0, 0.0), (90.0, 0.0), (135.0, 0.0), (0.0, 90.0))
_BROKEN, _ANY_BROKEN = 20.0, 500.0  # of a metre, a deep one, ten minutes too many; of any at all
_HARD = 1e-6


@dataclass(frozen=True)
class Weights:
    """The objective, in problems. Ours; every one can be changed."""

    kind: MappingProxyType[Kind, float] = field(
        default_factory=lambda: MappingProxyType(dict.fromkeys(KINDS, 1.0))
    )
    full_kind: float = 12.0  # a kind with three problems
    minute: float = 0.25  # a minute of the whole party's digging
    room_m: float = 0.05  # a metre between the two nearest targets
    line: float = 1.0  # three in a line
    twin: float = 2.0  # a target with a mirror image, beyond half of them
    same_depth: float = 0.5  # two targets at one depth

    @cached_property
    def of_kinds(self) -> Floats:
        return np.array([self.kind.get(kind, 0.0) for kind in KINDS])


MAX_MIN = Weights(MappingProxyType({}), 0.0, 0.0, 1.0, 0.0, 0.0, 0.0)
"""Nothing but the least distance between two targets, metres."""


@dataclass(frozen=True)
class Lying:
    """A target that lies already and stays. The antenna is None where nobody noted it."""

    name: str
    x_m: float
    y_m: float
    depth_m: float
    antenna_azimuth_deg: float | None = None
    antenna_tilt_deg: float | None = None
    may_move: bool = True


class Terms(NamedTuple):
    """The objective's parts, each (b,): `value` is the sum of the others; `broken` is 0 for a
    layout that keeps every rule."""

    problems: Floats
    kinds: Floats
    sweat: Floats
    room: Floats
    give_away: Floats
    broken: Floats

    @property
    def value(self) -> Floats:
        return np.asarray(np.sum(self, axis=0))


@dataclass(frozen=True)
class Task:
    """All that the worth of a layout depends on. `lying` come first in every layout."""

    ground: Ground
    starts: tuple[StartPoint, ...]
    hearing: Hearing = field(default_factory=Hearing)
    depths: Depths = field(default_factory=Depths)
    sweat: Sweat = field(default_factory=Sweat)
    weights: Weights = field(default_factory=Weights)
    lying: tuple[Lying, ...] = ()
    new: int = 0
    separation_m: float = SEPARATION_M
    attitudes_deg: tuple[tuple[float, float], ...] = ATTITUDES_DEG

    @property
    def count(self) -> int:
        return len(self.lying) + self.new

    @cached_property
    def starts_m(self) -> Floats:
        return np.array([(start.x_m, start.y_m) for start in self.starts])

    @cached_property
    def deep_allowed(self) -> int:
        """How many of the new ones may lie deep."""
        lying = sum(one.depth_m > DEEP_M for one in self.lying)
        return min(self.new, max(0, self.depths.deep_of(self.count) - lying))

    def layouts(self, xy_m: Floats, depth_m: Floats, axis: Floats) -> Layouts:
        """Layouts of what lies and of new targets (b, new, ...)."""
        batch = len(xy_m)
        lie = self._lying
        parts = (
            np.concatenate([np.broadcast_to(old, (batch, *old.shape[1:])), new], axis=1)
            for old, new in zip(lie, (xy_m, depth_m, axis, self.ground.edge_m(xy_m)), strict=True)
        )
        return Layouts(*parts)

    @cached_property
    def _lying(self) -> Layouts:
        return layouts_of(self.lying, self.ground)


def layouts_of(targets: tuple[Lying, ...], ground: Ground) -> Layouts:
    """One layout (b = 1) of targets as they lie."""
    xy_m = np.array([(one.x_m, one.y_m) for one in targets]).reshape(1, -1, 2)
    depth_m = np.array([[one.depth_m for one in targets]])
    axis = np.zeros((1, len(targets), 3))
    for place, one in enumerate(targets):
        if one.antenna_azimuth_deg is not None and one.antenna_tilt_deg is not None:
            axis[0, place] = moment_of(1.0, one.antenna_azimuth_deg, one.antenna_tilt_deg)
    return Layouts(xy_m, depth_m, axis, ground.edge_m(xy_m))


def terms_of(task: Task, layouts: Layouts) -> Terms:
    """What many layouts are worth, part by part."""
    weights = task.weights
    apart_m = apart(layouts.xy_m)
    if weights.of_kinds.any() or weights.full_kind:
        per_kind = judge(layouts, task.starts_m, task.hearing).per_kind()
    else:
        per_kind = np.zeros((len(layouts.xy_m), len(KINDS)), dtype=np.int64)
    new_m = layouts.depth_m[:, len(task.lying) :]
    minutes = task.sweat.target_minutes(new_m).sum(axis=1)
    return Terms(
        problems=per_kind @ weights.of_kinds,
        kinds=weights.full_kind * np.minimum(per_kind, FULL_KIND).sum(axis=1) / FULL_KIND,
        sweat=-weights.minute * minutes,
        room=weights.room_m * apart_m.min(axis=1, initial=task.ground.longest_m),
        give_away=-_give_away(task, layouts, apart_m),
        broken=_price(_broken(task, layouts, apart_m)),
    )


def _price(broken: Floats) -> Floats:
    return np.where(broken > 0, -_ANY_BROKEN - _BROKEN * broken, 0.0)


def _broken(task: Task, layouts: Layouts, apart_m: Floats) -> Floats:
    """How far rules about new targets are broken (b,): distance, deep ones, minutes."""
    lying = len(task.lying)
    pairs = sets_of(task.count).pairs
    short_m = np.maximum(task.separation_m - _HARD - apart_m[:, pairs[:, 1] >= lying], 0.0)
    new_m = layouts.depth_m[:, lying:]
    over = np.maximum((new_m > DEEP_M).sum(axis=1) - task.deep_allowed, 0)
    broken = np.asarray(short_m.sum(axis=1) + over)
    if task.sweat.minutes is not None and task.new:
        too_long = task.sweat.total_minutes(new_m) - task.sweat.minutes - _HARD
        broken += np.maximum(too_long, 0.0) / 10.0
    return broken


def _give_away(task: Task, layouts: Layouts, apart_m: Floats) -> Floats:
    weights = task.weights
    given = np.zeros(len(layouts.xy_m))
    if weights.line:
        given += weights.line * _lines(layouts.xy_m, apart_m)
    if weights.twin:
        half = layouts.xy_m.shape[1] / 2
        given += weights.twin * np.maximum(twins(task.ground, layouts.xy_m) - half, 0.0)
    if weights.same_depth:
        first, second = sets_of(layouts.depth_m.shape[1]).pairs.T
        same = np.abs(layouts.depth_m[:, first] - layouts.depth_m[:, second]) < 0.05
        given += weights.same_depth * same.sum(axis=1)
    return given


def _lines(xy_m: Floats, apart_m: Floats) -> Ints:
    """How many threes (b,) lie nearly in a line: the triangle's least height is under LINE_M."""
    sets = sets_of(xy_m.shape[1])
    first, second = sets.pairs.T
    x_m, y_m = np.moveaxis(xy_m[:, second] - xy_m[:, first], -1, 0)
    one, other, third = sets.sides.T
    twice_m2 = np.abs(x_m[:, one] * y_m[:, other] - y_m[:, one] * x_m[:, other])
    longest_m = np.maximum(np.maximum(apart_m[:, one], apart_m[:, other]), apart_m[:, third])
    return np.asarray((twice_m2 < LINE_M * longest_m).sum(axis=1), dtype=np.int64)


def twins(ground: Ground, xy_m: Floats) -> Ints:
    """The most targets (b,) that have a mirror image (themselves on the axis too), over the middle
    lines, the middle and the diagonals of the box that holds the ground."""
    corners_m = np.array(ground.outline_m)
    centred = xy_m - (corners_m.min(axis=0) + corners_m.max(axis=0)) / 2
    x, y = centred[..., 0], centred[..., 1]
    found = [
        (
            (image_x[:, :, None] - x[:, None]) ** 2 + (image_y[:, :, None] - y[:, None]) ** 2
            < TWIN_M**2
        )
        .any(axis=2)
        .sum(axis=1)
        for image_x, image_y in ((-x, y), (x, -y), (-x, -y), (y, x), (-y, -x))
    ]
    return np.asarray(np.max(found, axis=0), dtype=np.int64)
