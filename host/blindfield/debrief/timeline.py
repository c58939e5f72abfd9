"""From the events of one run to what its debrief tells."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from blindfield.debrief.flags import read_flags
from blindfield.debrief.moments import RunClock
from blindfield.debrief.readings import Context, corrections, read_target
from blindfield.debrief.values import (
    FINDING,
    Find,
    Start,
    TargetStory,
    Timeline,
    middle,
)
from blindfield.model.errors import LogbookError
from blindfield.model.events import Event
from blindfield.model.ids import run_id_text
from blindfield.model.run_summary import RunRecord
from blindfield.model.span import Span

__all__ = ["Find", "TargetStory", "Timeline", "build_timeline"]


def build_timeline(record: RunRecord, events: Sequence[Event]) -> Timeline:
    """The run of `record`, told from its `events` (as `Logbook.events_of` gives them).

    Raises LogbookError when the record holds no scenario or one that cannot be read.
    """
    scenario = _scenario(record, events)
    try:
        return _told(record, scenario, events)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise LogbookError(
            f"the problem of run {run_id_text(record.run_id)} cannot be read: {error!r}.",
            remedy="It may come from a newer blindfield: update this one.",
        ) from error


def _scenario(record: RunRecord, events: Sequence[Event]) -> Mapping[str, Any]:
    for event in events:
        if event.kind == "run_drawn" and isinstance(event.data.get("scenario"), dict):
            scenario: Mapping[str, Any] = event.data["scenario"]
            return scenario
    raise LogbookError(
        f"the record of run {run_id_text(record.run_id)} does not hold its problem.",
        remedy="There is nothing to debrief; the list of runs still shows its result.",
    )


def _told(record: RunRecord, scenario: Mapping[str, Any], events: Sequence[Event]) -> Timeline:
    summary, clock = record.summary, RunClock(events)
    closed = _last(events, "closed")
    start = scenario.get("start")
    context = Context(
        clock=clock,
        corrections=corrections(events),
        start=None if start is None else Start(**start),
        end_run_s=_end(clock, events),
        word_run_s=_words(events, clock),
    )
    targets = tuple(read_target(target, events, context) for target in scenario["targets"])
    reason = closed.data.get("reason", "") if closed else ""
    return Timeline(
        run_id=record.run_id,
        field_name=record.field_name,
        kind=scenario["kind"],
        title=scenario.get("title") or scenario["kind"].replace("_", " ").capitalize(),
        seed=scenario.get("seed"),
        start=context.start,
        end_on="dug_out" if scenario.get("end_on") == "dug_out" else "strike",
        time_limit_s=scenario.get("time_limit_s"),
        outcome=None if summary is None else summary.outcome,
        reason=str(reason or ""),
        stopped_by=_stopped_by(events),
        standard=None if summary is None else summary.standard,
        started=clock.started,
        started_utc=None if summary is None else summary.started_utc,
        end_run_s=context.end_run_s,
        targets=targets,
        finds=_finds(targets, clock),
        flags=read_flags(events, clock, targets, () if summary is None else summary.flags),
        summary_found=None if summary is None else summary.found,
    )


def _words(events: Sequence[Event], clock: RunClock) -> dict[tuple[str, int], Span]:
    """When each word that got through was released, by device ("" for all) and number."""
    return {
        (str(event.data.get("device", "")), int(event.data["word"])): clock.of(event)
        for event in events
        if event.kind == "word_sent" and event.data.get("acknowledged") is not False
    }


def _last(events: Sequence[Event], kind: str) -> Event | None:
    return next((event for event in reversed(events) if event.kind == kind), None)


def _end(clock: RunClock, events: Sequence[Event]) -> Span | None:
    """When the run ended: told so, or closed. None when the program's clock was another by then."""
    for kind in ("stop", "closed"):
        event = _last(events, kind)
        if event is not None and clock.knows(event):
            return clock.of(event)
    return None


def _stopped_by(events: Sequence[Event]) -> str:
    event = _last(events, "stop")
    return "" if event is None else str(event.data.get("by", ""))


def _finds(targets: Sequence[TargetStory], clock: RunClock) -> tuple[Find, ...]:
    """Finds in the order of their moments; a target lifted unstruck counts from its lifting."""
    moments: list[tuple[Span, TargetStory, bool]] = []
    for target in targets:
        struck = next((one for one in target.strikes if one.standing in FINDING), None)
        if struck is not None:
            moments.append((struck.run_s, target, True))
        elif target.in_play and target.dug_out is not None:
            moments.append((target.dug_out, target, False))
    moments.sort(key=lambda one: middle(one[0]))
    before = [None, *(moment for moment, _, _ in moments)]
    return tuple(
        Find(
            number=place + 1,
            target=target.name,
            run_s=moment,
            split_s=_between(moment, before[place], clock.start_slack),
            dug_out=target.dug_out,
            by_strike=by_strike,
        )
        for place, (moment, target, by_strike) in enumerate(moments)
    )


def _between(moment: Span, before: Span | None, start_slack: Span) -> Span:
    """The time between two finds. The start's uncertainty is in both and falls out."""
    if before is None:
        return moment
    low = moment.low - before.high + start_slack.width
    high = moment.high - before.low - start_slack.width
    best = None if moment.best is None or before.best is None else moment.best - before.best
    if best is None:
        return Span(min(low, high), None, max(low, high))
    return Span(min(low, best), best, max(high, best))
