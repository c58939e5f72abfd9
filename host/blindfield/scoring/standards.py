"""The standards that runs are judged by: those shipped, and what a field adds to them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal, get_args

from blindfield.field.toml_table import Table, nearest
from blindfield.model.errors import ConfigError
from blindfield.model.scenario import Work
from blindfield.scoring.attempts import Goal
from blindfield.scoring.reading import by_name, flag, numbers, tables_of, whole, word, words
from blindfield.scoring.steps import Circumstances, all_steps, belongs

SHIPPED_FILE = Path(__file__).with_name("standards.toml")
OWN_FILE = "standards.toml"
WHO_DECIDES = "The course provider's current document decides."

EndsOn = Literal["last strike", "last dug out"]
ClockStart = Literal["the word go", "own transceiver on send", "pack closed"]
Team = Literal["alone", "with shovellers", "team"]

_ENDS: tuple[EndsOn, ...] = get_args(EndsOn)
_STARTS: tuple[ClockStart, ...] = get_args(ClockStart)
_TEAMS: tuple[Team, ...] = get_args(Team)
_TARGETS, _LIMIT_MIN, _SIDE_M = (1, 8), (0.5, 20.0), (2.0, 500.0)
_DEPTH_M, _SIZE_CM, _STRAYS = (0.0, 3.0), (1.0, 300.0), (0, 20)
_KEYS = (
    *("name", "title", "source", "targets", "told", "ends_on", "limit_min", "clock_starts"),
    *("starts_with_signal", "area_m", "depth_m", "target_kind", "target_size_cm", "switch_off"),
    *("team", "required_steps", "fail_if_missed", "first_strike_by_min", "strays_allowed"),
)


@dataclass(frozen=True, kw_only=True)
class Standard:
    """`limit_s` None: technique, no clock. `strays_allowed` None: strays do not matter."""

    name: str
    title: str
    source: str
    targets: int
    ends_on: EndsOn
    area_m: tuple[float, float]
    depth_m: tuple[float, float]
    limit_s: float | None = None
    told: bool = True
    clock_starts: ClockStart = "the word go"
    starts_with_signal: bool = False
    target_kind: str = "pack"
    target_size_cm: tuple[float, float, float] | None = None
    switch_off: bool = False
    team: Team = "alone"
    required_steps: tuple[str, ...] = ()
    fail_if_missed: tuple[str, ...] = ()
    first_strike_by_s: float | None = None
    strays_allowed: int | None = None

    @property
    def technique(self) -> bool:
        """Without a clock: nobody is told how long it takes."""
        return self.limit_s is None

    @property
    def digging(self) -> bool:
        return self.ends_on == "last dug out"

    @property
    def work(self) -> Work:
        return "search and dig" if self.digging else "search only"

    @property
    def circumstances(self) -> Circumstances:
        return Circumstances(targets=self.targets, work=self.work, switch_off=self.switch_off)

    def goal(self, kinds: tuple[str, ...] = ()) -> Goal | None:
        """What readiness is asked for; None without a clock, where nothing is met in time."""
        if self.limit_s is None:
            return None
        return Goal(
            name=self.name,
            title=self.title,
            work=self.work,
            targets=self.targets,
            limit_s=self.limit_s,
            depth_m=self.depth_m,
            kinds=kinds,
        )


@cache
def shipped() -> Mapping[str, Standard]:
    return read_standards(SHIPPED_FILE)


def standards_of(folder: Path) -> Mapping[str, Standard]:
    """The shipped standards and what `standards.toml` in a field's folder adds, by name.

    Raises ConfigError, with file and line, for a mistake in that file.
    """
    own = folder / OWN_FILE
    return {**shipped(), **read_standards(own, shipped())} if own.is_file() else shipped()


def standard_named(name: str, known: Mapping[str, Standard] | None = None) -> Standard:
    """However it is typed: capitals, spaces or - for _. Raises ConfigError with the nearest."""
    known = shipped() if known is None else known
    plain = name.strip().lower().replace(" ", "_").replace("-", "_")
    if plain in known:
        return known[plain]
    near = nearest(plain, known)
    meant = f"Did you mean {near}? " if near else ""
    raise ConfigError(
        f"there is no standard {name!r}.", remedy=f"{meant}Choose from {', '.join(known)}."
    )


def read_standards(
    path: Path, taken: Mapping[str, Standard] | None = None
) -> Mapping[str, Standard]:
    """What `path` adds to `taken`. Raises ConfigError on the first mistake or contradiction."""
    tables = by_name(tables_of(path, "standard", _KEYS), taken or {})
    return {name: _standard(table) for name, table in tables.items()}


def _standard(table: Table) -> Standard:
    steps = tuple(all_steps())
    sides = numbers(table, "area_m", 2, _SIDE_M, "[50, 50]")
    depths = numbers(table, "depth_m", 2, _DEPTH_M, "[0, 1]")
    standard = Standard(
        name=table.text("name", '"my_own"'),
        title=table.text("title", '"Two targets in 10 minutes"'),
        source=table.text("source", '"common practice, no source"'),
        targets=whole(table, "targets", _TARGETS),
        told=flag(table, "told", default=True),
        ends_on=word(table, "ends_on", _ENDS),
        limit_s=_seconds(table, "limit_min"),
        clock_starts=word(table, "clock_starts", _STARTS, "the word go"),
        starts_with_signal=flag(table, "starts_with_signal", default=False),
        area_m=(sides[0], sides[1]),
        depth_m=(depths[0], depths[1]),
        target_kind=_kind(table),
        target_size_cm=_size(table),
        switch_off=flag(table, "switch_off", default=False),
        team=word(table, "team", _TEAMS, "alone"),
        required_steps=words(table, "required_steps", steps),
        fail_if_missed=words(table, "fail_if_missed", steps),
        first_strike_by_s=_seconds(table, "first_strike_by_min"),
        strays_allowed=whole(table, "strays_allowed", _STRAYS)
        if "strays_allowed" in table.values
        else None,
    )
    for key, what, remedy in _contradictions(standard):
        raise table.wrong(key, f"this standard contradicts itself: {what}", remedy)
    return standard


def _seconds(table: Table, key: str) -> float | None:
    minutes = table.optional_number(key, _LIMIT_MIN)
    return None if minutes is None else 60.0 * minutes


def _kind(table: Table) -> str:
    return table.text("target_kind", '"pack"') if "target_kind" in table.values else "pack"


def _size(table: Table) -> tuple[float, float, float] | None:
    if "target_size_cm" not in table.values:
        return None
    length, width, height = numbers(table, "target_size_cm", 3, _SIZE_CM, "[50, 40, 20]")
    return length, width, height


_Contradiction = tuple[str, str, str]


def _contradictions(one: Standard) -> Iterator[_Contradiction]:
    """(key, what two of its lines say, remedy) of each."""
    low_m, high_m = one.depth_m
    if low_m >= high_m:
        what = f"no depth is from {low_m:g} to {high_m:g} m."
        yield "depth_m", what, "Write the lesser depth first."
    if one.team == "with shovellers" and not one.digging:
        what = 'it has shovellers and ends on "last strike": nobody digs.'
        yield "team", what, 'Write team = "alone", or ends_on = "last dug out".'
    yield from _of_the_clock(one)
    if one.switch_off and one.targets == 1:
        what = "a found target may be switched off, and there is no other to search for after it."
        yield "switch_off", what, "Write switch_off = false, or more targets."
    for key in ("required_steps", "fail_if_missed"):
        yield from _of_steps(one, key, getattr(one, key))


def _of_the_clock(one: Standard) -> Iterator[_Contradiction]:
    first_s, limit_s = one.first_strike_by_s, one.limit_s
    if first_s is not None and limit_s is None:
        what = "the first strike has a time and the standard has no clock."
        yield "first_strike_by_min", what, "Write a limit_min, or no first_strike_by_min."
    elif first_s is not None and limit_s is not None and first_s >= limit_s:
        what = f"the first strike may take {first_s / 60:g} min and all of it {limit_s / 60:g} min."
        yield "first_strike_by_min", what, "Write less than limit_min."


def _of_steps(one: Standard, key: str, names: tuple[str, ...]) -> Iterator[_Contradiction]:
    for name in names:
        step = all_steps()[name]
        if step.plus and key == "required_steps":
            what = f"{name} is a plus, and it is required."
            yield key, what, f"Take {name} out of {key}."
        elif belongs(step, one.circumstances) is False:
            what = f"it asks for {name}, which {_WHY_NOT[step.when]}."
            yield key, what, f"Take {name} out of {key}, or change what it needs."
        elif step.when == "if it comes to it" and key == "required_steps":
            what = f"it requires {name}, which a run need not come to."
            yield key, what, f"Take {name} out of {key}."


_WHY_NOT = {
    "several": "needs more than one target",
    "marking": "needs more than one target",
    "digging": 'is a step of digging, and it ends on "last strike"',
    "switching off": 'needs ends_on = "last dug out" and switch_off = true',
}
