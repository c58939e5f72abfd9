"""What `blindfield logbook` says, in sentences."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from blindfield.logbook.people import Forgotten, Person
    from blindfield.logbook.rescue import Saved
    from blindfield.logbook.transfer import Taken

SHOWN_OF_ID = 6


def taken_text(taken: Taken) -> Iterator[str]:
    """What came of an import."""
    yield (
        f"{counted(taken.runs, 'run')} and {counted(taken.entries, 'entry', 'entries')} taken in; "
        f"{taken.already_here} were here already."
    )
    if taken.continued:
        yield f"{counted(taken.continued, 'run')} here got what was said of them elsewhere."
    if taken.incomplete:
        yield f"Of these runs events had been lost before: {', '.join(taken.incomplete)}."
    yield from (f"NOT TAKEN: {one}" for one in taken.refused)


def person_text(one: Person) -> str:
    """One line of the list of people."""
    counts = f"{counted(one.searched, 'run')}, {counted(one.entries, 'entry', 'entries')}"
    walked = "".join(f", walked with {shown(which)}" for which in one.transceivers)
    return f"{shown(one.name)}: {counts}{walked}, last {one.last_utc[:10]}"


def forgotten_text(done: Forgotten) -> Iterator[str]:
    """What was removed, and what that costs."""
    yield (
        f"Removed from {counted(done.runs, 'run')} and {counted(done.entries, 'record')}. The runs "
        'stay, as those of "(removed)".'
    )
    if done.unproven:
        yield (
            f"Of {counted(done.unproven, 'run')} it can no longer be proven that the problem was "
            "fixed beforehand: the proof held the name."
        )
    if done.sealed:
        yield (
            f"{counted(done.sealed, 'sealed row')} of runs that were never revealed cannot be "
            "read; the name may be in them, readable with their field key alone."
        )
    if not done.overwritten:
        yield (
            "NOT DONE: another program has the logbook open, and the file's log may still hold the "
            "name. Close it and say this again."
        )
    yield "Backups and exports made before still hold the name: remove or make them anew."


def rebuilt_text(
    count: int,
    differs: dict[str, list[str]],
    unknown: dict[str, str],
    put_right: int,
    stored: bool,
) -> Iterator[str]:
    """What is the same, what differs, what nobody knows. Runs by their whole ids."""
    if put_right:
        yield f"Put right: {counted(put_right, 'run')}."
    same = count - len(differs.keys() | unknown.keys())
    yield f"{same} of {counted(count, 'run')}: every figure is what the events say."
    for run, several in differs.items():
        yield from (f"DIFFERS: run {run[:SHOWN_OF_ID]}: {one}." for one in several)
    yield from (f"Not known: run {run[:SHOWN_OF_ID]}: {why}." for run, why in unknown.items())
    if differs and not stored:
        yield "Nothing was changed. `blindfield logbook rebuild --store` keeps what the events say."
    elif differs:
        yield "This is no summary, and nothing says which of the two is right: it was left."


def damage_text(damage: list[str], target: Path, saved: Saved) -> Iterator[str]:
    """What is damaged, what was saved, what is lost."""
    yield from (f"DAMAGED: {one}" for one in damage)
    kept = f"{counted(saved.runs, 'run')} and {counted(saved.entries, 'entry', 'entries')}"
    yield f"Saved to {target}: {kept} that can be read whole."
    if saved.incomplete:
        yield f"Saved, but events may be missing: run {', '.join(saved.incomplete)}."
    yield from (f"LOST: {one}." for one in saved.lost)
    yield (
        "Keep the damaged file and the files beside it. To begin a new logbook move them away and "
        f"take this in: `blindfield logbook import {target.name}`."
    )


def counted(number: int, one: str, several: str = "") -> str:
    """1 run, 2 runs."""
    return f"{number} {one if number == 1 else several or one + 's'}"


def shown(name: str) -> str:
    """For a screen: what cannot be printed is left out."""
    return "".join(one for one in name if one.isprintable())
