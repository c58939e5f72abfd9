"""Takes exported runs into a logbook: each whole or not at all, and none twice.

What was said of a run afterwards (LATER_KINDS) is joined: entries that the other logbook has and
this one has not are added, and the result is worked out anew. Everything else of a run that is
here already must be the same, or the run is left as it is here and named. New runs are put among
the others by the time they were drawn, the order within each logbook kept: a clock that was set
back between two runs does not change which came first.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from sqlalchemy import Connection, delete, insert, select, update

from blindfield.logbook.book import LATER_KINDS, Logbook
from blindfield.logbook.export import REFERENCES
from blindfield.logbook.imported import FileRun, read_lines
from blindfield.logbook.people import same_but_for_names
from blindfield.logbook.recording import refuse_while_open, store_summary
from blindfield.logbook.rows import event_of, plain_columns, run_of, summary_columns
from blindfield.logbook.schema import events, runs
from blindfield.model.errors import BlindfieldError, LogbookError
from blindfield.model.events import DeviceKey, Event
from blindfield.model.ids import run_id_text
from blindfield.model.run_summary import RunRecord, RunSummary

Summarise = Callable[[RunRecord], Callable[[Sequence[Event]], RunSummary]]


@dataclass
class Taken:
    """What came of an import. `refused`: a sentence for each line that was not taken, with its
    number; `incomplete`: ids of runs taken that had lost events before they were exported."""

    runs: int = 0
    entries: int = 0
    continued: int = 0
    already_here: int = 0
    refused: list[str] = field(default_factory=list)
    incomplete: list[str] = field(default_factory=list)


def import_lines(logbook: Logbook, lines: Iterable[bytes], summarise: Summarise) -> Taken:
    """All that can be taken, in one step. `summarise(record)` makes a run's summary out of its
    events, for runs of which more was said elsewhere.

    Raises LogbookError for a file that is no export or a newer one, and while a run is open; then
    nothing was changed.
    """
    taken = Taken()
    with logbook.database.writing() as connection:
        refuse_while_open(connection, "runs cannot be imported")
        before = _order(connection)
        for number, found in read_lines(lines):
            try:
                _take(connection, found, summarise, taken)
            except BlindfieldError as error:
                taken.refused.append(f"line {number}: {error}")
        _put_in_order(connection, before)
    return taken


def _take(
    connection: Connection,
    found: FileRun | Event | BlindfieldError,
    summarise: Summarise,
    taken: Taken,
) -> None:
    if isinstance(found, BlindfieldError):
        raise found
    if isinstance(found, Event):
        if _entry_is_here(connection, found):
            taken.already_here += 1
        else:
            connection.execute(insert(events).values(run_id=None, **plain_columns(found)))
            taken.entries += 1
        return
    here = select(runs).where(runs.c.run_id == found.run_id)
    row = connection.execute(here).mappings().one_or_none()
    if row is None:
        _insert(connection, found)
        taken.runs += 1
        if found.incomplete:
            taken.incomplete.append(run_id_text(found.run_id))
    elif _join(connection, run_of(row), found, summarise):
        taken.continued += 1
    else:
        taken.already_here += 1


def _entry_is_here(connection: Connection, entry: Event) -> bool:
    """A device's record by its key; what a person or a host said by when, and about what."""
    key = entry.device_key
    if key is not None:
        return connection.execute(select(events.c.id).where(*_of_key(key))).first() is not None
    same = select(events).where(
        events.c.utc == entry.utc,
        events.c.kind == entry.kind,
        events.c.host_epoch == entry.host_epoch,
        events.c.run_id.is_(None),
    )
    rows = connection.execute(same).mappings().all()
    about = entry.data.get("device")
    return any(event_of(row, None).data.get("device") == about for row in rows)


def _of_key(key: DeviceKey) -> tuple[Any, ...]:
    return (
        events.c.device_id == key.device_id,
        events.c.journal_id == key.journal_id,
        events.c.seq == key.seq,
    )


def _insert(connection: Connection, run: FileRun) -> None:
    for event in run.events:
        if event.device_key is not None:
            _make_room(connection, event.device_key, run.run_id)
    connection.execute(
        insert(runs).values(
            run_id=run.run_id,
            drawn_utc=run.drawn_utc,
            key_id=run.key_id,
            commitment=run.commitment,
            salt=run.salt,
            is_open=False,
            **summary_columns(run.summary),
        )
    )
    _add(connection, run, {}, run.events)


def _make_room(connection: Connection, key: DeviceKey, run_id: bytes) -> None:
    """A record fetched here as well, after the run that was conducted elsewhere, belonged to no
    run here: now it does."""
    query = select(events.c.run_id).where(*_of_key(key))
    row = connection.execute(query).first()
    if row is not None and row[0] is not None:
        raise LogbookError(
            f"run {run_id_text(run_id)} holds a device's record that is here in run "
            f"{run_id_text(row[0])}.",
            remedy="One of the two files is not what it seems; it was left out.",
        )
    connection.execute(delete(events).where(*_of_key(key)))


def _add(
    connection: Connection, run: FileRun, ids: dict[int, int], several: Sequence[Event]
) -> None:
    """Records events of a file under ids of this logbook; `ids` grows with them."""
    for event in several:
        said = _here(event, ids)
        done = connection.execute(insert(events).values(run_id=run.run_id, **plain_columns(said)))
        key = done.inserted_primary_key
        assert key is not None
        assert event.id is not None
        ids[event.id] = int(key[0])


def _here(event: Event, ids: dict[int, int]) -> Event:
    """The event, speaking of others by their ids here."""
    data = dict(event.data)
    for name in REFERENCES:
        if data.get(name) is not None:
            data[name] = ids.get(data[name])
    return event if data == event.data else replace(event, data=data)


def _join(connection: Connection, record: RunRecord, run: FileRun, summarise: Summarise) -> bool:
    """Whether something was added. Raises LogbookError where the two differ in more."""
    query = select(events).where(events.c.run_id == run.run_id).order_by(events.c.id)
    rows = connection.execute(query).mappings().all()
    here = [event_of(row, None) for row in rows]
    ids: dict[int, int] = {}
    unmatched = list(here)
    for event in run.events:
        said = _here(event, ids)
        match = next((one for one in unmatched if same_but_for_names(one, said)), None)
        if match is None and event.kind not in LATER_KINDS:
            raise _differs(run)
        if match is not None:
            assert event.id is not None
            assert match.id is not None
            ids[event.id] = match.id
            unmatched.remove(match)
    if any(event.kind not in LATER_KINDS for event in unmatched):
        raise _differs(run)
    new = [event for event in run.events if event.id not in ids]
    if not new:
        return False
    _add(connection, run, ids, new)
    rows = connection.execute(query).mappings().all()
    store_summary(connection, summarise(record)([event_of(row, None) for row in rows]))
    return True


def _differs(run: FileRun) -> LogbookError:
    return LogbookError(
        f"run {run_id_text(run.run_id)} is here already and is not the same.",
        remedy="It was left as it is here.",
    )


def _order(connection: Connection) -> list[tuple[str, int]]:
    query = select(runs.c.drawn_utc, runs.c.number).order_by(runs.c.number)
    return [(utc, number) for utc, number in connection.execute(query)]


def _put_in_order(connection: Connection, before: Sequence[tuple[str, int]]) -> None:
    """The new runs among those of `before`; nothing where none is new or all are the latest."""
    known = {number for _, number in before}
    new = [one for one in _order(connection) if one[1] not in known]
    merged = [number for _, number in heapq.merge(before, new, key=lambda one: one[0])]
    if merged == sorted(merged):
        return
    # By way of negative numbers: two runs may not have the same one even for a moment.
    for sign in (-1, 1):
        for place, number in enumerate(merged, 1):
            old = number if sign < 0 else -place
            connection.execute(update(runs).where(runs.c.number == old).values(number=sign * place))
