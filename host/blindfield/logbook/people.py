"""Who is named in a logbook, and taking a person's name out of it, everywhere.

The runs stay, as those of nobody in particular (REMOVED): what they tell of the field is true.
In `transfer` a run that is here with the name removed is not replaced by one that still has it.
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import Connection, RowMapping, func, or_, select, update

from blindfield.logbook.book import Logbook
from blindfield.logbook.commitment import NAME_REMOVED
from blindfield.logbook.recording import refuse_while_open
from blindfield.logbook.schema import events, facts, runs
from blindfield.model.errors import LogbookError
from blindfield.model.events import Event

REMOVED = "(removed)"
NAME_FIELDS = frozenset({"author", "searcher"})
TEXT_FIELDS = frozenset({"note", "text", "reason", "why"})
_HOST_KINDS = ("run_drawn", "closed", "note", "recovered")
_AT_ONCE = 500
_FIRST_UNSPACED = "\u0e00"  # from Thai on there are scripts that put no space between words


@dataclass(frozen=True)
class Person:
    """`searched`: closed runs; `entries`: what they said (ticks, depths, corrections and such);
    `transceivers`: those they walked a receive range with; `last_utc`: of all that."""

    name: str
    searched: int
    entries: int
    transceivers: tuple[str, ...]
    last_utc: str


@dataclass(frozen=True)
class Forgotten:
    """`runs`, `entries`: how many rows named them; `unproven`: runs whose commitment nobody can
    open any more; `sealed`: rows that cannot be read and may name them; `overwritten`: nothing of
    it is left in the file or the log beside it."""

    runs: int
    entries: int
    unproven: int
    sealed: int
    overwritten: bool


def people(logbook: Logbook) -> list[Person]:
    """Everybody named in closed runs and in what was said; who was last named comes first.

    Spellings that differ in capitals alone are one person. Raises LogbookError.
    """
    searched: Counter[str] = Counter()
    said: Counter[str] = Counter()
    shown: dict[str, str] = {}
    last: dict[str, str] = {}
    transceivers: dict[str, set[str]] = {}

    def seen(name: str, utc: str) -> str:
        key = folded(name)
        if utc >= last.get(key, ""):
            shown[key], last[key] = name, utc
        return key

    with logbook.database.reading() as connection:
        query = (
            select(runs.c.searcher, func.count(), func.max(runs.c.drawn_utc))
            .where(~runs.c.is_open, runs.c.searcher != "")
            .group_by(runs.c.searcher)
        )
        for name, count, utc in connection.execute(query):
            searched[seen(name, utc)] += count
        for utc, data in _said(connection):
            for name in {data.get(field) for field in NAME_FIELDS} - {None, ""}:
                said[seen(str(name), utc)] += 1
            if data.get("transceiver") and data.get("searcher"):
                key = folded(str(data["searcher"]))
                transceivers.setdefault(key, set()).add(str(data["transceiver"]))
    found = [
        Person(name, searched[key], said[key], tuple(sorted(transceivers.get(key, ()))), last[key])
        for key, name in shown.items()
    ]
    return sorted(found, key=lambda one: one.last_utc, reverse=True)


def folded(name: str) -> str:
    """The same for every way to type a name: capitals, accents' spelling, spaces."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def same_but_for_names(here: Event, there: Event) -> bool:
    """Whether the two are one event, of which a name was removed here."""
    if REMOVED not in json.dumps(here.data):
        return here == there
    blurred = NAME_FIELDS | TEXT_FIELDS
    without = [
        replace(one, data={name: v for name, v in one.data.items() if name not in blurred})
        for one in (here, there)
    ]
    return without[0] == without[1]


def forget(logbook: Logbook, name: str) -> Forgotten:
    """Takes the name out of runs, problems, entries and texts, then out of the file's free pages
    and its log.

    Raises LogbookError: nobody is called so, a run is open, or the file cannot be written.
    """
    remove = _remover(name)
    sealed = logbook.reveal_what_is_left()
    with logbook.database.writing() as connection:
        refuse_while_open(connection, "a person cannot be removed")
        connection.exec_driver_sql(
            "PRAGMA secure_delete = ON"
        )  # and the file is written anew below
        run_count = _forget_in_runs(connection, folded(name))
        entries, unproven = _forget_in_events(connection, remove)
        entries += _forget_in_facts(connection, remove)
    # Also when nobody was found: this may be the second try after a crash before this line.
    overwritten = logbook.database.compact()
    if not run_count and not entries:
        raise LogbookError(
            f"nobody called {name!r} is in the logbook {logbook.database.name}.",
            remedy="`blindfield logbook people` lists who is.",
        )
    return Forgotten(run_count, entries, unproven, sealed, overwritten)


def _said(connection: Connection) -> Iterable[tuple[str, dict[str, Any]]]:
    query = select(events.c.utc, events.c.data).where(
        events.c.source == "person", or_(events.c.data.contains("author"), _names_a_searcher())
    )
    for utc, text in connection.execute(query):
        yield utc, _loaded(text)


def _names_a_searcher() -> Any:
    return events.c.data.contains("searcher")


def _loaded(text: str) -> dict[str, Any]:
    try:
        data = json.loads(text)
    except ValueError:
        return {}  # damaged: `check` names it
    return data if isinstance(data, dict) else {}


def _forget_in_runs(connection: Connection, key: str) -> int:
    known = connection.execute(select(runs.c.searcher).distinct()).scalars().all()
    same = [one for one in known if one and folded(one) == key]
    changed = update(runs).where(runs.c.searcher.in_(same)).values(searcher=REMOVED)
    return int(connection.execute(changed).rowcount) if same else 0


def _forget_in_events(connection: Connection, remove: Callable[[Any], Any]) -> tuple[int, int]:
    """(events changed, problems among them)."""
    changed = problems = 0
    for row in _may_name_somebody(connection):
        data = _loaded(row["data"])
        without = remove(data)
        if without == data:
            continue
        changed += 1
        if row["kind"] == "run_drawn":
            problems += 1
            without = _unprovable(connection, row, without)
        done = update(events).where(events.c.id == row["id"]).values(data=json.dumps(without))
        connection.execute(done)
    return changed, problems


def _may_name_somebody(connection: Connection) -> Iterator[RowMapping]:
    told = or_(events.c.source == "person", events.c.kind.in_(_HOST_KINDS))
    query = select(events.c.id, events.c.run_id, events.c.kind, events.c.data).where(told)
    last = 0
    while True:  # some at a time: the rows are changed meanwhile, and are many
        some = query.where(events.c.id > last).order_by(events.c.id).limit(_AT_ONCE)
        rows = connection.execute(some).mappings().all()
        yield from rows
        if len(rows) < _AT_ONCE:
            return
        last = rows[-1]["id"]


def _unprovable(connection: Connection, row: RowMapping, data: dict[str, Any]) -> dict[str, Any]:
    connection.execute(update(runs).where(runs.c.run_id == row["run_id"]).values(salt=None))
    flags = [*(data.get("flags") or ()), NAME_REMOVED]
    return {**data, "salt": "", "flags": list(dict.fromkeys(flags))}


def _forget_in_facts(connection: Connection, remove: Callable[[Any], Any]) -> int:
    changed = 0
    for row in connection.execute(select(facts)).mappings().all():
        value = json.loads(row["value"])
        if remove(value) == value:
            continue
        changed += 1
        here = (facts.c[name] == row[name] for name in ("scope", "subject", "name"))
        connection.execute(update(facts).where(*here).values(value=json.dumps(remove(value))))
    return changed


def _remover(name: str) -> Callable[[Any], Any]:
    """A function that gives any JSON value without the name: whole where a name stands, out of the
    text where people write freely. Names of targets and the like are left alone."""
    key = folded(name)
    if not key or key == folded(REMOVED):
        raise LogbookError(f"{name!r} is nobody's name.", remedy="Give the name as it is listed.")
    word = r"\s+".join(map(re.escape, key.split()))
    spaced = all(one < _FIRST_UNSPACED for one in key)
    pattern = re.compile(rf"(?<!\w){word}(?!\w)" if spaced else word, re.IGNORECASE)

    def out_of_text(text: str) -> str:
        plain = unicodedata.normalize("NFKC", text)
        without = pattern.sub(REMOVED, plain)
        if without != plain:
            return without
        # Letters that change their number with their case: the whole text goes.
        return REMOVED if pattern.search(folded(text)) else text

    def remove(value: Any, field: str = "") -> Any:
        if isinstance(value, dict):
            return {name: remove(one, name) for name, one in value.items()}
        if isinstance(value, list):
            return [remove(one, field) for one in value]
        if not isinstance(value, str):
            return value
        if field in NAME_FIELDS:
            return REMOVED if folded(value) == key else value
        return out_of_text(value) if field in TEXT_FIELDS else value

    return remove
