"""From the events of one run to what its debrief tells."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from blindfield.debrief.corrections import corrections
from blindfield.debrief.flags import read_flags
from blindfield.debrief.moments import RunClock
from blindfield.debrief.readings import Context, read_target
from blindfield.debrief.values import (
    About,
    EndOn,
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

PACK = "pack"
"""What a run that is only for digging finds."""

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
    start = scenario.get("start")
    end_on: EndOn = "dug_out" if scenario.get("end_on") == "dug_out" else "strike"
    context = Context(
        clock=clock,
        corrections=corrections(events),
        end_run_s=_end(clock, events),
        word_run_s=_words(events, clock),
    )
    targets = tuple(read_target(target, events, context) for target in scenario["targets"])
    finds = _finds(targets, clock, end_on)
    about = _about(scenario)
    if about.digs_only:
        finds = _the_pack(events, clock)
    all_found = bool(finds) and len(finds) == sum(target.in_play for target in targets)
    return Timeline(
        run_id=record.run_id,
        field_name=record.field_name,
        kind=scenario["kind"],
        title=scenario.get("title") or scenario["kind"].replace("_", " ").capitalize(),
        seed=scenario.get("seed"),
        start=None if start is None else Start(**start),
        end_on=end_on,
        time_limit_s=scenario.get("time_limit_s"),
        outcome=None if summary is None else summary.outcome,
        reason=_reason(events),
        stopped_by=_stopped_by(events),
        standard=None if summary is None else summary.standard,
        started=clock.started,
        started_utc=None if summary is None else summary.started_utc,
        # The close comes some seconds after the find that ended the run.
        end_run_s=finds[-1].run_s if all_found else context.end_run_s,
        targets=targets,
        finds=finds,
        about=about,
        flags=read_flags(
            events, clock, targets, () if summary is None else summary.flags, context.end_run_s
        ),
        summary_found=None if summary is None else summary.found,
    )


def _about(scenario: Mapping[str, Any]) -> About:
    """Records of earlier versions hold less of it."""
    texts = {name: str(scenario.get(name, "")) for name in ("searcher", "purpose", "watch")}
    return About(
        **texts,
        work=str(scenario.get("work", "search only")),
        knows_places=bool(scenario.get("knows_places", False)),
        aids=tuple(scenario.get("aids", ())),
        why=tuple(scenario.get("why", ())),
    )


def _the_pack(events: Sequence[Event], clock: RunClock) -> tuple[Find, ...]:
    """Where only digging was timed: the pack, out when somebody said done."""
    done = _last(events, "done")
    if done is None or not clock.knows(done):
        return ()
    at = clock.of(done)
    return (Find(number=1, target=PACK, run_s=at, split_s=at, struck=None, dug_out=at),)


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
    """When the run was ended or closed; None when the program's clock was another by then."""
    for kinds in (("stop", "knock", "silence_sent", "void", "done"), ("closed",)):
        found = [clock.of(event) for event in events if event.kind in kinds and clock.knows(event)]
        ends = [span for span in found if span.high >= 0] or found  # or before it began
        if ends:
            return min(ends, key=middle)
    return None


def _stopped_by(events: Sequence[Event]) -> str:
    event = _last(events, "stop") or _last(events, "knock")
    if event is None:
        return ""
    return "knock" if event.kind == "knock" else str(event.data.get("by", ""))


def _reason(events: Sequence[Event]) -> str:
    for kind in ("void", "start_cancelled", "closed"):
        event = _last(events, kind)
        if event is not None and event.data.get("reason"):
            return str(event.data["reason"]).rstrip(".")
    return ""


def _finds(targets: Sequence[TargetStory], clock: RunClock, end_on: str) -> tuple[Find, ...]:
    """Finds in the order of their moments."""
    moments = [
        (moment, struck, target)
        for target in targets
        for struck in (target.struck,)
        for moment in (target.dug_out if end_on == "dug_out" else struck,)
        if moment is not None and (target.in_play or struck is not None)
    ]
    moments.sort(key=lambda one: middle(one[0]))
    before = [None, *(moment for moment, _, _ in moments)]
    return tuple(
        Find(
            number=place + 1,
            target=target.name,
            run_s=moment,
            split_s=_between(moment, before[place], clock.start_slack),
            struck=struck,
            dug_out=target.dug_out,
        )
        for place, (moment, struck, target) in enumerate(moments)
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
