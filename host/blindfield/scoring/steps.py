"""The steps of a search: what they are called, when they belong to a run, what must not precede."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal, get_args

from blindfield.field.toml_table import Table, nearest
from blindfield.model.errors import ConfigError
from blindfield.model.scenario import Work
from blindfield.scoring.reading import by_name, flag, tables_of, word, words

FILE = Path(__file__).with_name("steps.toml")

Phase = Literal[
    "before the search",
    "signal search",
    "coarse search",
    "fine search",
    "pinpointing",
    "at the find",
    "digging",
    "after the search",
    "throughout",
]
Per = Literal["run", "target"]
When = Literal[
    "always",
    "searching",
    "several",
    "marking",
    "digging",
    "switching off",
    "if it comes to it",
]
PHASES: tuple[Phase, ...] = get_args(Phase)
AFTER_STRIKE: tuple[Phase, ...] = ("at the find", "digging")
"""Phases of a target that come after its strike."""

_PERS: tuple[Per, ...] = get_args(Per)
_WHENS: tuple[When, ...] = get_args(When)
_KEYS = ("name", "title", "look", "phase", "per", "when", "before", "after", "plus")


@dataclass(frozen=True, kw_only=True)
class Step:
    """`before`: steps that must not come earlier than this one; `after`: nor these later. `plus`: a
    credit that nobody misses."""

    name: str
    title: str
    look: str
    phase: Phase
    per: Per
    when: When = "always"
    before: tuple[str, ...] = ()
    after: tuple[str, ...] = ()
    plus: bool = False


@dataclass(frozen=True, kw_only=True)
class Circumstances:
    """What of a run decides which steps belong to it."""

    targets: int
    work: Work = "search only"
    marking: bool = True
    switch_off: bool = False

    @property
    def digging(self) -> bool:
        return self.work != "search only"

    @property
    def searching(self) -> bool:
        return self.work != "dig only"


def belongs(step: Step, to: Circumstances) -> bool | None:
    """Whether the step belongs to such a run; None: it depends on what happened in it."""
    several = to.searching and to.targets > 1
    answers: dict[When, bool | None] = {
        "always": True,
        "searching": to.searching,
        "several": several,
        "marking": several and to.marking,
        "digging": to.digging,
        "switching off": to.digging and to.switch_off,
        "if it comes to it": None,
    }
    return answers[step.when]


@cache
def all_steps() -> Mapping[str, Step]:
    """Every step by its name, in the order of a search."""
    return read_steps(FILE)


def read_steps(path: Path) -> Mapping[str, Step]:
    """The steps of a file. Raises ConfigError on the first mistake."""
    tables = by_name(tables_of(path, "step", _KEYS), {})
    steps = {name: _step(table, tuple(tables)) for name, table in tables.items()}
    _check_order(tables, steps)
    return steps


def step_named(name: str) -> Step:
    """However it is typed: spaces and - for _, capitals, its title. Raises ConfigError."""
    steps = all_steps()
    plain = name.strip().lower().replace(" ", "_").replace("-", "_")
    if plain in steps:
        return steps[plain]
    by_title = {step.title.lower(): step for step in steps.values()}
    if name.strip().lower() in by_title:
        return by_title[name.strip().lower()]
    near = nearest(plain, steps)
    meant = f"Did you mean {near}? " if near else ""
    raise ConfigError(
        f"there is no step {name!r}.", remedy=f"{meant}All of them: `blindfield tick --list`."
    )


def _step(table: Table, names: tuple[str, ...]) -> Step:
    return Step(
        name=table.text("name", '"my_own"'),
        title=table.text("title", '"Strike called"'),
        look=table.text("look", '"Says it aloud at once."'),
        phase=word(table, "phase", PHASES),
        per=word(table, "per", _PERS),
        when=word(table, "when", _WHENS, "always"),
        before=words(table, "before", names),
        after=words(table, "after", names),
        plus=flag(table, "plus", default=False),
    )


def pairs(steps: Iterable[Step]) -> list[tuple[str, str]]:
    """(earlier, later): every order that is asked for."""
    found = [(step.name, later) for step in steps for later in step.before]
    found += [(earlier, step.name) for step in steps for earlier in step.after]
    return list(dict.fromkeys(found))


def _check_order(tables: Mapping[str, Table], steps: Mapping[str, Step]) -> None:
    """No step may have to come before itself, by however many others."""
    later_of: dict[str, set[str]] = {}
    for earlier, later in pairs(steps.values()):
        later_of.setdefault(earlier, set()).add(later)
    for name, table in tables.items():
        reached: set[str] = set()
        waiting = set(later_of.get(name, ()))
        while waiting:
            reached |= waiting
            waiting = {far for near in waiting for far in later_of.get(near, ())} - reached
        if name in reached:
            key = "before" if steps[name].before else "after"
            what = f"{name} would have to come before itself."
            raise table.wrong(key, what, "Take one of the steps out of before and after.")
