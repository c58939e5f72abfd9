"""Closed runs as JSON Lines, for other programs and other logbooks.

The first line says what the file is and its version. Then one object a line: a run with all its
events, or an entry that belongs to no run (where a target lies, how far somebody hears). In a run
events are numbered from 1, and what speaks of an event speaks of that number, so that the same run
is the same line wherever it is exported. Each line carries the SHA-256 of what it holds: it shows
that a line was changed by hand, and keeps nobody out who computes it anew. The commitment beside
the scenario is what shows that the problem was fixed before the search.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from sqlalchemy import select

from blindfield.logbook.book import NOT_REVEALED, Logbook
from blindfield.logbook.rows import event_of, run_of
from blindfield.logbook.schema import events as event_rows
from blindfield.logbook.schema import runs
from blindfield.model.errors import LogbookError
from blindfield.model.events import Event
from blindfield.model.ids import run_id_text
from blindfield.model.run_summary import RunRecord, RunSummary

FORMAT = "blindfield logbook"
VERSION = 1
REFERENCES = ("event_id", "last_event_id")
"""Fields of an event's data that hold the number of another event."""


def to_json_lines(events: Iterable[Event]) -> str:
    """One event per line in the form of `Event.to_json`, each line ended by a newline."""
    return "".join(json.dumps(event.to_json(), sort_keys=True) + "\n" for event in events)


def export_lines(logbook: Logbook, left_out: list[str] | None = None) -> Iterator[str]:
    """Each line with its newline: the version, every closed run in the order made, every entry.

    Nothing of an open run is among them. Runs and entries that cannot be read are left out, a
    sentence for each into `left_out`; without it they raise LogbookError.
    """
    yield version_line()
    for record, key_id in closed_runs(logbook):
        try:
            yield run_line(record, key_id, logbook.events_of(record.run_id))
        except LogbookError as error:
            if left_out is None:
                raise
            left_out.append(f"run {run_id_text(record.run_id)}: {error}")
    with logbook.database.reading() as connection:
        query = select(event_rows).where(
            event_rows.c.run_id.is_(None), event_rows.c.sealed.is_(None)
        )
        rows = connection.execute(query.order_by(event_rows.c.id)).mappings().all()
    for row in rows:
        yield entry_line(event_of(row, None))


def unread(logbook: Logbook) -> Iterator[str]:
    """A sentence for each closed run that cannot be read, though its pages can."""
    for record, _ in closed_runs(logbook):
        if record.summary is None or NOT_REVEALED in record.summary.flags:
            continue
        try:
            logbook.events_of(record.run_id)
        except LogbookError as error:
            yield f"run {run_id_text(record.run_id)} cannot be read: {error}"


def closed_runs(logbook: Logbook) -> list[tuple[RunRecord, bytes]]:
    """In the order made, each with the id of the field key it was made with."""
    query = select(runs).where(~runs.c.is_open).order_by(runs.c.number)
    with logbook.database.reading() as connection:
        return [(run_of(row), row["key_id"]) for row in connection.execute(query).mappings()]


def version_line() -> str:
    return _line({"format": FORMAT, "version": VERSION})


def run_line(
    record: RunRecord, key_id: bytes, events: Sequence[Event], *, incomplete: bool = False
) -> str:
    """`incomplete`: some of its events may be lost."""
    run = run_object(record, key_id, events)
    return _signed("run", {**run, "incomplete": True} if incomplete else run)


def entry_line(event: Event) -> str:
    return _signed("entry", {**event.to_json(), "id": None})


def run_object(record: RunRecord, key_id: bytes, events: Sequence[Event]) -> dict[str, Any]:
    """A closed run as plain JSON values."""
    assert record.summary is not None
    numbers = {event.id: place for place, event in enumerate(events, 1)}
    return {
        "run_id": run_id_text(record.run_id),
        "drawn_utc": record.drawn_utc,
        "key_id": key_id.hex(),
        "commitment": record.commitment,
        "salt": record.salt,
        "summary": summary_json(record.summary),
        "events": [event_json(event, numbers) for event in events],
    }


def event_json(event: Event, numbers: Mapping[int | None, int]) -> dict[str, Any]:
    """The event under the number that `numbers` has for its id, and what it speaks of likewise."""
    data = dict(event.data)
    for name in REFERENCES:
        if name in data:
            data[name] = numbers.get(data[name])
    return {**event.to_json(), "id": numbers.get(event.id), "data": data}


def summary_json(summary: RunSummary) -> dict[str, Any]:
    """Plain JSON values; `transfer.summary_from_json` is the inverse."""
    values = dataclasses.asdict(summary)
    values["run_id"] = run_id_text(summary.run_id)
    spans = [[span.low, span.best, span.high] for span in summary.find_run_s]
    return {**values, "find_run_s": spans}


def digest_of(values: Mapping[str, Any]) -> str:
    """SHA-256 in hex over the JSON of `values` (keys sorted, no spaces, ASCII)."""
    text = json.dumps(values, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _signed(kind: str, values: Mapping[str, Any]) -> str:
    return _line({kind: values, "digest": digest_of(values)})


def _line(values: Mapping[str, Any]) -> str:
    return json.dumps(values, sort_keys=True, separators=(",", ":"), ensure_ascii=False) + "\n"
