"""A survey under way: readings as they come, kept at once, and what they say together."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

from blindfield.console.entries import Entries
from blindfield.console.short_entry import EXAMPLE, Entry, parse_entry
from blindfield.field.snooping import Judgement, judge
from blindfield.field.suggest import next_origins
from blindfield.field.survey import (
    Reading,
    never_meet,
    readings_from_json,
    residuals_at,
)
from blindfield.model.errors import ConfigError
from blindfield.model.field import Target, TargetState

SAME_M = 0.02  # the same peg read so alike is the same reading entered twice
FAR_M = 2.0  # so far from its planned place may be another target


class Twice(ConfigError):
    """A reading that is there already: nothing is lost by leaving it."""


@dataclass
class Session:
    """`readings`: of each target by name, with those of earlier sittings, unless `afresh`.

    `target` is the one asked for, `origin` the peg asked for; both None when all are placed.
    """

    entries: Entries
    names: list[str]
    sigma_m: float
    tape_m: float
    afresh: bool = False
    readings: dict[str, list[Reading]] = field(default_factory=dict)
    target: str | None = None
    origin: str | None = None
    skipped: dict[str, frozenset[str]] = field(default_factory=dict)
    _undo: list[tuple[str, int]] = field(default_factory=list)
    touched: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        known = {} if self.afresh else _kept(self.entries)
        self.readings = {target.name: known.get(target.name, []) for target in self._targets}
        self.ask_next()

    def judgement(self, name: str) -> Judgement:
        """What the readings of one target say together."""
        planned = self.entries.place.target_named(name)
        near_m = (planned.x_m, planned.y_m)
        return judge(self.entries.place, self.readings[name], near_m, self.sigma_m)

    def ask_next(self, name: str | None = None) -> None:
        """Ask for a reading of that target, or of the first that wants one."""
        wanting = [one for one in self.names if self.judgement(one).wanted]
        self.target = name or (wanting[0] if wanting else None)
        self.origin = self._origin(self.target) if self.target else None

    def skip(self) -> None:
        """Ask for another peg in place of the one asked for."""
        if self.target is None or self.origin is None:
            return
        before = self.skipped.get(self.target, frozenset())
        self.skipped[self.target] = before | {self.origin}
        self.origin = self._origin(self.target)
        if self.origin is None:  # round again
            self.skipped[self.target] = frozenset()
            self.origin = self._origin(self.target)

    def enter(self, text: str) -> Entry:
        """Take one entry, keep it, and go on. Raises ConfigError, having kept nothing."""
        entry = parse_entry(self.entries.place, text, target=self.target, origin=self.origin)
        if entry.depth_m is not None:
            self.entries.keep("depth", device=entry.target, depth_m=entry.depth_m, means="hole")
        elif entry.attitude_deg is not None:
            azimuth_deg, tilt_deg = entry.attitude_deg
            self.entries.keep(
                "placed", device=entry.target, azimuth_deg=azimuth_deg, tilt_deg=tilt_deg
            )
        else:
            self._add(entry)
        wants_more = self.judgement(entry.target).wanted
        self.ask_next(entry.target if wants_more else None)
        return entry

    def undo(self) -> tuple[str, list[Reading]]:
        """Take the last entry of readings back: the target and what was taken. ConfigError when
        there is none of this sitting."""
        if not self._undo:
            raise ConfigError(
                "nothing was read in this sitting that could be taken back.",
                remedy="A depth or an attitude is put right by entering it again.",
            )
        name, count = self._undo.pop()
        taken, self.readings[name] = self.readings[name][-count:], self.readings[name][:-count]
        self._store(name)
        self.ask_next(name)
        return name, taken

    def drop(self, name: str) -> list[Reading]:
        """Forget all readings of a target, also those of earlier sittings; what was forgotten.
        ConfigError when there are none."""
        taken = self.readings[name]
        if not taken:
            raise ConfigError(f"target {name} has no readings to drop.", remedy=EXAMPLE)
        self.readings[name] = []
        self._undo = [one for one in self._undo if one[0] != name]
        self._store(name)
        self.ask_next(name)
        return taken

    def _add(self, entry: Entry) -> None:
        have = self.readings[entry.target]
        for reading in entry.readings:
            for other in have:
                alike = abs(other.value_m - reading.value_m) <= SAME_M
                if (other.kind, other.origin) == (reading.kind, reading.origin) and alike:
                    raise Twice(
                        f"target {entry.target}: {reading} is there already and counts once.",
                        remedy="Read it again and enter what you read, or take another peg.",
                    )
        have.extend(entry.readings)
        self._undo.append((entry.target, len(entry.readings)))
        self._store(entry.target)

    def _store(self, name: str) -> None:
        """On disk as one entry that tells all readings of the target so far."""
        if name not in self.touched:
            self.touched.append(name)
        place_m, sigma_m = self.place_of(name)
        rows: list[list[Any]] = [reading.to_json() for reading in self.readings[name]]
        x_m, y_m = place_m or (None, None)
        self.entries.keep("placed", device=name, x_m=x_m, y_m=y_m, sigma_m=sigma_m, readings=rows)

    def place_of(self, name: str) -> tuple[tuple[float, float] | None, float | None]:
        """(place, standard error) to the millimetre, the error wider while the readings disagree;
        (None, None) for a place worse known than by its plan."""
        found = self.judgement(name)
        at = found.place
        if at is None or not math.isfinite(at.sigma_m) or (found.disagrees and not at.spare):
            return None, None
        wider = max(1.0, math.sqrt(at.misfit / at.spare)) if at.spare else 1.0
        sigma_m = max(at.sigma_m * wider, found.doubt_m)
        if sigma_m > FAR_M:
            return None, None
        return (round(at.x_m, 3), round(at.y_m, 3)), round(sigma_m, 3)

    def cannot_be(self, name: str) -> list[str]:
        """Sentences on pairs of tapes that no place can give, while it is open which is wrong."""
        if not self.judgement(name).disagrees:
            return []
        pairs = never_meet(self.entries.place, self.readings[name], 4 * self.sigma_m)
        return [f"the tapes {one} and {other} never meet. Read both again." for one, other in pairs]

    def off_plan_m(self, name: str) -> float:
        """How far the measured place is from where the field's file has the target."""
        planned = self.entries.place.target_named(name)
        place_m, _ = self.place_of(name)
        return math.dist(place_m, (planned.x_m, planned.y_m)) if place_m else 0.0

    def missed_m(self, name: str) -> list[float]:
        """For each reading of a target that has a place: read minus what that place gives."""
        at = self.judgement(name).place
        if at is None:
            return []
        gives = residuals_at(self.entries.place, self.readings[name], (at.x_m, at.y_m))
        return [-float(value) for value in gives]

    @property
    def _targets(self) -> tuple[Target, ...]:
        return self.entries.place.targets

    def _origin(self, name: str) -> str | None:
        planned = self.entries.place.target_named(name)
        at = self.judgement(name).place
        near_m = (at.x_m, at.y_m) if at and math.isfinite(at.sigma_m) else None
        names = next_origins(
            self.entries.place,
            near_m or (planned.x_m, planned.y_m),
            self.readings[name],
            count=max(1, self.judgement(name).wanted),
            tape_m=self.tape_m,
            skip=self.skipped.get(name, frozenset()),
        )
        return names[0] if names else None


def _kept(entries: Entries) -> dict[str, list[Reading]]:
    """The readings of earlier sittings that still hold: since it was last put into a hole."""
    found: dict[str, list[Reading]] = {}
    by_name = {target.name.casefold(): target.name for target in entries.place.targets}
    for event in entries.events():
        name = by_name.get(str(event.data.get("device", "")).casefold())
        if name is None or event.data.get("field", entries.place.name) != entries.place.name:
            continue
        if event.kind == "placed" and event.data.get("readings") is not None:
            found[name] = readings_from_json(entries.place, event.data["readings"])
        elif event.kind == "state" and event.data.get("state") in (
            TargetState.PUT_BACK.value,
            TargetState.DUG_OUT.value,
        ):
            found.pop(name, None)
    return found
