"""The line in the list of runs as it is after corrections: worked out from events, never edited."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from blindfield.debrief.performance import performance_of
from blindfield.debrief.timeline import build_timeline
from blindfield.debrief.values import Timeline
from blindfield.model.events import Event
from blindfield.model.run_summary import Outcome, RunRecord, RunSummary
from blindfield.scoring.judge import Performance, best_or_latest

CORRECTED = "corrected"


def amended(told: RunSummary, record: RunRecord, events: Sequence[Event]) -> RunSummary:
    """`told`, the summary as the run itself told it, with what people said after its close.

    Without corrections it stays as it is. Raises LogbookError for a run that cannot be read.
    """
    after = events[_closed_at(events) + 1 :]
    voided = any(event.kind == "void" for event in after)
    if not voided and not any(event.kind == "correction" for event in events):
        return told
    timeline = build_timeline(replace(record, summary=told), events)
    return replace(
        told,
        outcome="void" if voided else _outcome(told, timeline, events),
        find_run_s=tuple(find.run_s for find in timeline.finds),
        flags=tuple(dict.fromkeys((*told.flags, CORRECTED))),
    )


def _closed_at(events: Sequence[Event]) -> int:
    places = [place for place, event in enumerate(events) if event.kind == "closed"]
    return places[-1] if places else len(events)


def _outcome(told: RunSummary, timeline: Timeline, events: Sequence[Event]) -> Outcome:
    """As the run would have been told, had it been known: void stays that, met outranks the rest.

    A run that ended before its limit on a strike that was none broke off: nobody knows whether
    the last one would have been found in time.
    """
    if told.outcome == "void" or not timeline.started:
        return told.outcome
    run = performance_of(timeline, events)
    if _met(timeline, run):
        return "met"
    if told.outcome != "met":
        return told.outcome
    broke_off = len(timeline.finds) < timeline.to_find and not run.until_done
    return "interrupted" if broke_off else "not_met"


def _met(timeline: Timeline, run: Performance) -> bool:
    moments = [find.run_s for find in timeline.finds]
    if run.until_done:
        if run.done is None:
            return False
        moments.append(run.done)
    limit_s = timeline.time_limit_s
    in_time = limit_s is None or all(best_or_latest(one) <= limit_s for one in moments)
    return timeline.to_find > 0 and len(timeline.finds) == timeline.to_find and in_time
