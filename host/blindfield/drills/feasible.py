"""Which sets of targets can give a kind of problem on a field as it lies now."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

from blindfield.drills.drill import Drill
from blindfield.drills.geometry import CLOSE_M, DEFAULT_RANGE_M, lie_so
from blindfield.field.as_built import DepthBand
from blindfield.model.errors import NotReady
from blindfield.model.field import Field, Target
from blindfield.model.scenario import Work

ANY_DEPTH_M: DepthBand = (0.0, math.inf)

TargetSet = frozenset[str]
SetsByNumber = dict[int, dict[TargetSet, None]]
"""The inner dicts are sets that keep their order, or a seed would not give the same again."""


@dataclass(frozen=True, kw_only=True)
class Ground:
    """What a problem may be made of.

    `present`: targets alive, all of which get a sheet; `leave_out`: names of those among them that
    may not send (lifted, depth unknown); `linked`: names that can be told a word now (None: all);
    `depth_band_m`: from the least to the most that a drill takes which does not ask for depth.
    """

    place: Field
    present: tuple[Target, ...]
    leave_out: frozenset[str] = frozenset()
    linked: frozenset[str] | None = None
    range_m: float = DEFAULT_RANGE_M
    depth_band_m: DepthBand = ANY_DEPTH_M
    known: dict[tuple[str, Work], SetsByNumber] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )  # what `sets_of` found before

    def pool(self, drill: Drill, work: Work) -> tuple[Target, ...]:
        """The targets that may send in this drill, in the field's order."""
        return tuple(
            target
            for target in self.present
            if target.name not in self.leave_out
            and (target.state.may_be_dug if work == "search and dig" else target.state.lies)
            and self._deep_as_wanted(drill, target)
        )

    def _deep_as_wanted(self, drill: Drill, target: Target) -> bool:
        if drill.deeper_than_m is not None:
            return target.depth_m > drill.deeper_than_m
        low_m, high_m = self.depth_band_m
        return low_m <= round(target.depth_m, 2) <= high_m


def ground_of(
    place: Field,
    alive: Collection[str] | None = None,
    *,
    leave_out: Iterable[str] = (),
    linked: Iterable[str] | None = None,
    range_m: float = DEFAULT_RANGE_M,
    depth_band_m: DepthBand = ANY_DEPTH_M,
) -> Ground:
    """The ground of a field; `alive`: names of the targets that answer (None: all there are)."""
    return Ground(
        place=place,
        present=tuple(t for t in place.targets if alive is None or t.name in alive),
        leave_out=frozenset(leave_out),
        linked=None if linked is None else frozenset(linked),
        range_m=range_m,
        depth_band_m=depth_band_m,
    )


def sets_of(ground: Ground, drill: Drill, work: Work) -> SetsByNumber:
    """For each number of targets that the drill may have, the sets that give it; no empty ones."""
    key = (drill.kind, work)
    if key not in ground.known:
        pool = ground.pool(drill, work)
        found = {n: dict.fromkeys(_sets(ground, drill, pool, n)) for n in set(drill.targets)}
        ground.known[key] = {number: sets for number, sets in found.items() if sets}
    return ground.known[key]


def _sets(ground: Ground, drill: Drill, pool: Sequence[Target], number: int) -> Iterable[TargetSet]:
    fit = {
        (one.name, other.name)
        for one, other in combinations(pool, 2)
        if lie_so(drill, one, other, ground.range_m)
    }
    for chosen in combinations([target.name for target in pool], number):
        if drill.needs_word and sum(may_wait(ground, name) for name in chosen) < number - 1:
            continue  # all but the first wait for the word
        if drill.distance == "any" or all(pair in fit for pair in combinations(chosen, 2)):
            yield frozenset(chosen)


def may_wait(ground: Ground, name: str) -> bool:
    """Whether a target can be told a word during the run."""
    return ground.linked is None or name in ground.linked


def why_not(ground: Ground, drill: Drill, work: Work) -> str:
    """Why the drill cannot be set here, in words that tell nobody where anything lies; or ""."""
    if work not in drill.work:
        return f"it is for {' or '.join(drill.work)}, not for {work}."
    if sets_of(ground, drill, work):
        return ""
    if len(ground.pool(drill, work)) < min(drill.targets):
        return _too_few(ground, drill, work)
    if drill.needs_word and ground.linked is not None and not ground.linked:
        return "its second signal waits for a word, and no target can be told one now."
    return _how_they_lie(ground, drill)


def _too_few(ground: Ground, drill: Drill, work: Work) -> str:
    pool = len(ground.pool(drill, work))
    dig = " that may be dug" if work == "search and dig" else ""
    said = f"{drill.title!r} needs {min(drill.targets)} targets, the field has {pool} in place"
    if drill.deeper_than_m is not None:
        return f"{said} deeper than {drill.deeper_than_m:g} m{dig}."
    others = len(replace(ground, depth_band_m=ANY_DEPTH_M).pool(drill, work)) - pool
    if not others:
        return f"{said}{dig}."
    low_m, high_m = ground.depth_band_m
    return (
        f"{said} at {low_m:g} to {high_m:g} m{dig}, and {others} at other depths (--band takes "
        "them in)."
    )


def _how_they_lie(ground: Ground, drill: Drill) -> str:
    reach = f"a receiver with a range of {ground.range_m:g} m"
    return {
        "within range": f"no {min(drill.targets)} targets lie so that {reach} hears each from "
        f"above the other in every attitude, and further than {CLOSE_M:g} m apart.",
        "out of range": f"no {min(drill.targets)} targets lie so far apart that {reach} does not "
        "hear one from above the other in any attitude.",
        "close": f"no {min(drill.targets)} targets lie within {drill.close_m:g} m of each other.",
        "any": "no targets fit.",
    }[drill.distance]


def refuse(ground: Ground, drill: Drill, work: Work, others: Iterable[Drill]) -> NotReady:
    """The refusal of a drill that cannot be set: its reason, and the nearest one that can."""
    reason = why_not(ground, drill, work)
    near = nearest_feasible(ground, drill, work, others)
    can = f"The nearest that can be set: --drill {near.kind}." if near else ""
    return NotReady(
        reason, remedy=f"Bury and switch on more, or choose another drill. {can}".strip()
    )


def nearest_feasible(
    ground: Ground, drill: Drill, work: Work, others: Iterable[Drill]
) -> Drill | None:
    """The drill most like this one that can be set here, or None."""
    able = [
        other
        for other in others
        if other.kind != drill.kind and not why_not(ground, other, work) and other.drawn
    ]
    return min(able, key=lambda other: _unlike(drill, other), default=None)


def _unlike(drill: Drill, other: Drill) -> float:
    """How much two drills differ: the number of targets first, then what makes the kind."""
    number = abs(min(drill.targets) - min(other.targets))
    further = ("distance", "second", "told", "marking", "pulses", "deeper_than_m", "out_at_share")
    return 2.0 * number + sum(
        1.0 for name in further if getattr(drill, name) != getattr(other, name)
    )
