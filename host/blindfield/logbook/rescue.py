"""What can still be read of a damaged logbook, and what cannot.

Rows are asked for one by one, by number: a page that is damaged costs the rows on it and no others.
The file is only read.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from blindfield.logbook.export import entry_line, run_line, version_line
from blindfield.logbook.faults import told
from blindfield.logbook.rows import event_of, run_of
from blindfield.model.errors import LogbookError
from blindfield.model.events import Event
from blindfield.model.ids import run_id_text

SHOWN = 12
PAGE_BYTES, SMALLEST_ROW_BYTES = 4096, 20


@dataclass
class Saved:
    """`runs`, `entries`: how many were read whole; `incomplete`: ids of runs that are read and may
    lack events; `lost`: what could not be read, a sentence each."""

    runs: int = 0
    entries: int = 0
    incomplete: list[str] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)


def rescued_lines(path: Path, saved: Saved) -> Iterator[str]:
    """The lines of an export, of all closed runs and entries that can be read; `saved` fills as
    they come. Nothing of an open run is among them. Raises LogbookError where nothing can be."""
    with (
        told(str(path)),
        closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as file,
    ):
        file.row_factory = sqlite3.Row
        yield version_line()
        run_rows, runs_lost = _rows(file, "runs", "number")
        event_rows, events_lost = _rows(file, "events", "id")
        if not run_rows and not event_rows:
            raise LogbookError(f"nothing can be read of the logbook {path}.")
        if runs_lost:
            saved.lost.append(f"runs number {_ranges(runs_lost)}")
        if events_lost:
            saved.lost.append(f"events number {_ranges(events_lost)}")
        of_run: dict[bytes | None, list[Any]] = {}
        for row in event_rows:
            of_run.setdefault(row["run_id"], []).append(row)
        for row in run_rows:
            if not row["is_open"]:
                rows = of_run.pop(row["run_id"], [])
                lacks = _lacks(file, row["run_id"], rows, events_lost)
                yield from _run(row, rows, lacks, saved)
            else:
                of_run.pop(row["run_id"], None)
        yield from _entries(of_run.pop(None, []), saved)
        for run_id, orphans in of_run.items():
            name = run_id_text(run_id) if run_id else "?"
            saved.lost.append(f"run {name}: its row; {len(orphans)} of its events were read")


def _run(row: sqlite3.Row, rows: Sequence[Any], lacks: bool, saved: Saved) -> Iterator[str]:
    try:
        record = run_of(row)  # type: ignore[arg-type]
        name = run_id_text(record.run_id)
        events, unread = _events(rows)
        is_drawn = any(event.kind == "run_drawn" for event in events)
        incomplete = bool(unread) or lacks or not is_drawn
        line = run_line(record, row["key_id"], events, incomplete=incomplete)
    except (LogbookError, KeyError, TypeError, ValueError, AttributeError, IndexError) as error:
        saved.lost.append(f"run in row {row['number']}: {error}")
        return
    saved.lost.extend(f"run {name}: event number {number}" for number in unread)
    if incomplete:
        saved.incomplete.append(name)
    else:
        saved.runs += 1
    yield line


def _lacks(file: sqlite3.Connection, run_id: Any, rows: Sequence[Any], lost: Sequence[int]) -> bool:
    """Whether the run has events that were not read: by the index, which lies on pages of its own;
    where that is damaged too, whether any was lost after the run began."""
    if not lost:
        return False
    read = [row["id"] for row in rows]
    try:
        query = "SELECT id FROM events INDEXED BY ix_events_run_id WHERE run_id = ?"
        return {row[0] for row in file.execute(query, (run_id,))} != set(read)
    except sqlite3.DatabaseError:
        return not read or max(lost) > read[0]


def _entries(rows: Sequence[Any], saved: Saved) -> Iterator[str]:
    events, unread = _events([row for row in rows if row["sealed"] is None])
    saved.lost.extend(f"event number {number}" for number in unread)
    for event in events:
        saved.entries += 1
        yield entry_line(event)


def _events(rows: Sequence[Any]) -> tuple[list[Event], list[int]]:
    events, unread = [], []
    for row in rows:
        try:
            events.append(event_of(row, None))
        except (LogbookError, KeyError, TypeError, ValueError, AttributeError):
            unread.append(row["id"])
    return events, unread


def _rows(file: sqlite3.Connection, table: str, key: str) -> tuple[list[sqlite3.Row], list[int]]:
    """The rows of a table that can be read, and the numbers of those that cannot."""
    rows, lost = [], []
    for number in range(1, _last(file, table, key) + 1):
        try:
            found = file.execute(
                f"SELECT * FROM {table} NOT INDEXED WHERE {key} = ?", (number,)
            ).fetchone()
        except (sqlite3.DatabaseError, UnicodeDecodeError, OverflowError):
            lost.append(number)
            continue
        if found is not None:
            rows.append(found)
    return rows, lost


def _last(file: sqlite3.Connection, table: str, key: str) -> int:
    """The highest number that may have been given: where the end of the table is damaged, by the
    counter that SQLite keeps."""
    # A counter that is damaged itself may say anything; no row takes fewer bytes than that.
    most = file.execute("PRAGMA page_count").fetchone()[0] * PAGE_BYTES // SMALLEST_ROW_BYTES
    highest = 0
    for query in (
        f"SELECT seq FROM sqlite_sequence WHERE name = '{table}'",
        f"SELECT max({key}) FROM {table} NOT INDEXED",
    ):
        try:
            found = file.execute(query).fetchone()
        except sqlite3.DatabaseError:
            continue
        highest = max(highest, int(found[0] or 0) if found else 0)
    return int(min(highest, most))


def _ranges(numbers: Sequence[int]) -> str:
    """1-3, 7 and so on."""
    spans: list[list[int]] = []
    for number in numbers:
        if spans and number == spans[-1][1] + 1:
            spans[-1][1] = number
        else:
            spans.append([number, number])
    texts = [f"{low}" if low == high else f"{low}-{high}" for low, high in spans]
    more = f" and {len(texts) - SHOWN} more" if len(texts) > SHOWN else ""
    return ", ".join(texts[:SHOWN]) + more
