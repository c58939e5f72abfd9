"""Every figure that is kept of closed runs, made anew from their events and compared."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import delete

from blindfield.logbook.book import NOT_REVEALED, Logbook
from blindfield.logbook.commitment import name_was_removed
from blindfield.logbook.figures import figures
from blindfield.logbook.transfer import Summarise
from blindfield.model.errors import BlindfieldError, LogbookError
from blindfield.model.events import Event
from blindfield.model.run_summary import RunRecord, RunSummary

CLOSING_S = 60.0
"""A run's row is made within this time of its `closed` event."""


@dataclass(frozen=True)
class Compared:
    """One closed run. `differs`: a sentence for each figure that is not what the events say;
    `unknown`: why nothing can be worked out ("" where it can)."""

    run_id: bytes
    differs: tuple[str, ...] = ()
    unknown: str = ""


def compare_all(
    logbook: Logbook, summarise: Summarise, *, store: bool = False
) -> Iterator[Compared]:
    """Every closed run, in the order made. `summarise(record)` makes a summary out of events.

    `store` keeps what was worked out in place of a summary that differs; what else differs stays:
    nothing says which of the two is right. Raises LogbookError.
    """
    for record in reversed(logbook.runs()):
        if record.is_open:
            continue
        if record.summary is not None and NOT_REVEALED in record.summary.flags:
            yield Compared(record.run_id, unknown="it was never revealed")
            continue
        try:
            yield _compared(logbook, record, summarise, store)
        except (BlindfieldError, KeyError, TypeError, ValueError, AttributeError) as error:
            said = error.what if isinstance(error, BlindfieldError) else repr(error)
            yield Compared(record.run_id, unknown=said.rstrip("."))


def _compared(logbook: Logbook, record: RunRecord, summarise: Summarise, store: bool) -> Compared:
    events = logbook.events_of(record.run_id)
    made = logbook.rebuild(record.run_id, summarise(record))
    stored = made.stored
    assert stored is not None
    differs = [*_summary_faults(stored, made.computed), *_row_faults(logbook, record, events)]
    if store and not made.agrees:
        logbook.rebuild(record.run_id, summarise(record), store=True)
    return Compared(record.run_id, tuple(differs))


def _summary_faults(stored: RunSummary, computed: RunSummary) -> Iterator[str]:
    for one in dataclasses.fields(RunSummary):
        kept, made = getattr(stored, one.name), getattr(computed, one.name)
        if kept != made:
            yield f"{one.name.replace('_', ' ')} is {_shown(kept)}, by its events {_shown(made)}"


def _shown(value: Any) -> str:
    if isinstance(value, tuple):
        return "; ".join(map(_shown, value)) or "none"
    if dataclasses.is_dataclass(value):
        return str(list(dataclasses.astuple(value)))  # type: ignore[arg-type]
    return repr(value) if value is not None else "none"


def _row_faults(logbook: Logbook, record: RunRecord, events: Sequence[Event]) -> Iterator[str]:
    """What else the run's row says, beside its summary."""
    drawn = next((event for event in events if event.kind == "run_drawn"), None)
    if drawn is None:
        raise LogbookError("it does not hold its problem.")
    if record.drawn_utc != drawn.utc:
        yield f"drawn at is {record.drawn_utc}, by its events {drawn.utc}"
    if record.commitment != drawn.data.get("commitment"):
        yield "the commitment is not the one of its events"
    if not name_was_removed(drawn.data):
        if record.salt is not None and record.salt != drawn.data.get("salt"):
            yield "the salt is not the one of its events"
        if not logbook.check_commitment(record.run_id):
            yield "the problem is not the one that was committed to"
    ended = next((event.utc for event in reversed(events) if event.kind == "closed"), None)
    if ended is not None and record.summary is not None:
        made_s = datetime.fromisoformat(record.summary.ended_utc)
        if not 0 <= (made_s - datetime.fromisoformat(ended)).total_seconds() <= CLOSING_S:
            yield f"ended at is {record.summary.ended_utc}, by its events {ended}"


def drop_figures(logbook: Logbook, run_ids: Sequence[bytes]) -> None:
    """What is kept of these runs beside the summary is worked out again when it is next needed."""
    with logbook.database.writing() as connection:
        for run_id in run_ids:
            connection.execute(delete(figures).where(figures.c.run_id == run_id))
