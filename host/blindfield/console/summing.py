"""The summary of a closed run worked out anew from its events, corrections included."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from blindfield.conduct.state import replay, summary_of
from blindfield.debrief.amended import amended
from blindfield.logbook.book import Logbook, Rebuilt
from blindfield.model.errors import NotReady
from blindfield.model.events import Event
from blindfield.model.run_summary import RunRecord, RunSummary


def summarise(record: RunRecord) -> Callable[[Sequence[Event]], RunSummary]:
    """What `Logbook.rebuild` needs for the run of `record`. Raises NotReady for an open one."""
    stored = record.summary
    if stored is None:
        raise NotReady("this run is not closed yet.", remedy="It stays blind until then.")

    def computed(events: Sequence[Event]) -> RunSummary:
        return amended(summary_of(replay(events), ended_utc=stored.ended_utc), record, events)

    return computed


def rebuild(logbook: Logbook, record: RunRecord) -> Rebuilt:
    """Stores what corrections change: the outcome, the finds, the flags. Who searched, and the
    like, they do not touch."""
    compute = summarise(record)
    stored = record.summary
    assert stored is not None

    def corrected(events: Sequence[Event]) -> RunSummary:
        now = compute(events)
        return replace(stored, outcome=now.outcome, find_run_s=now.find_run_s, flags=now.flags)

    return logbook.rebuild(record.run_id, corrected, store=True)
