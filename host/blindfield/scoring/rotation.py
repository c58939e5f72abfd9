"""Who does what, run after run: everybody searches, and those who wait have a task."""

from __future__ import annotations

from collections.abc import Sequence

from blindfield.model.errors import ConfigError

SEARCHER, LEADER, OBSERVER, SHOVELLER, TIMER = (
    "searcher",
    "leader",
    "observer",
    "shoveller",
    "timer",
)
MOST_PEOPLE = 12
_WAITING = (OBSERVER, TIMER, SHOVELLER)
_TEAM = (LEADER, SEARCHER, SHOVELLER, OBSERVER, SEARCHER, TIMER)
"""In this order places are filled, as far as there are people; whoever is left shovels."""


def roles_of(people: int, *, team: bool = False) -> tuple[str, ...]:
    """The tasks of one run for so many people, one each. Alone: one searches and the others wait
    as observer, timer, shovellers. Team: leader, searchers, shovellers, and from four on an
    observer. Raises ConfigError."""
    least = 2 if team else 1
    if not least <= people <= MOST_PEOPLE:
        what = "a team" if team else "a rotation"
        raise ConfigError(
            f"{what} of {people} cannot be laid out.",
            remedy=f"Name from {least} to {MOST_PEOPLE} people.",
        )
    order = _TEAM if team else (SEARCHER, *_WAITING)
    return (*order[:people], *[SHOVELLER] * (people - len(order)))


def rotation(people: Sequence[str], *, team: bool = False) -> list[dict[str, str]]:
    """Per run: person -> task. As many runs as people; in them everybody has each place once, so
    that everybody searches equally often. Raises ConfigError, also for the same name twice."""
    if len({name.casefold() for name in people}) < len(people):
        raise ConfigError("two people have the same name.", remedy="Tell them apart.")
    roles = roles_of(len(people), team=team)
    count = len(people)
    return [
        {name: roles[(place - turn) % count] for place, name in enumerate(people)}
        for turn in range(count)
    ]


def rotation_table(people: Sequence[str], *, team: bool = False) -> str:
    """The rotation as a table to print: a line for each run, a column for each person."""
    turns = rotation(people, team=team)
    rows = [["run", *people]]
    rows += [[str(n), *(turn[name] for name in people)] for n, turn in enumerate(turns, 1)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in rows
    )
