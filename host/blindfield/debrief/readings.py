"""Reads one target's events: when it sent, what its strikes stand for, what came of its cues."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, cast

from blindfield.debrief.corrections import COUNTING, Corrections
from blindfield.debrief.moments import RunClock
from blindfield.debrief.values import (
    FINDING,
    CueStory,
    Followed,
    Manner,
    Sending,
    Standing,
    Strike,
    TargetStory,
    middle,
)
from blindfield.model.events import Event
from blindfield.model.scenario import EARLY_S, KNOCKING_S
from blindfield.model.span import Span

# A cue that comes later than this after its trigger came late.
LATE_S = 0.5

_ENDS_SENDING = frozenset({"rests", "ended", "silenced", "boot", "silent_confirmed"})


@dataclass(frozen=True)
class Context:
    """What the reading of a target needs to know of the run.

    `end_run_s`: after it no strike counts. `word_run_s`: (device, word) -> when it was released;
    the device is "" where it went to all.
    """

    clock: RunClock
    corrections: Corrections
    end_run_s: Span | None
    word_run_s: Mapping[tuple[str, int], Span]


def read_target(
    target: Mapping[str, Any], events: Sequence[Event], context: Context
) -> TargetStory:
    """The story of the scenario's `target`, from all events of the run."""
    name = target["name"]
    own = [event for event in events if event.data.get("device") == name]
    sends = sendings(own, context.clock.of)
    dug_out = next((context.clock.of(event) for event in own if event.kind == "dug_out"), None)
    bare = TargetStory(
        name=name,
        x_m=target["x_m"],
        y_m=target["y_m"],
        depth_m=target["depth_m"],
        in_play=target["in_play"],
        sends=sends,
        dug_out=dug_out,
    )
    struck = strikes_of(bare, events, context)
    with_strikes = replace(bare, strikes=struck)
    stories = tuple(
        _cue_story(place, cue, with_strikes, own, context)
        for place, cue in enumerate(target.get("cues", ()))
    )
    return replace(with_strikes, cues=stories)


def sendings(own: Sequence[Event], when: Callable[[Event], Span]) -> tuple[Sending, ...]:
    """The intervals in which the target sent, from its events in the order of their times."""
    found: list[Sending] = []
    since: Span | None = None
    known: Span | None = None
    for moment, event in sorted(((when(e), e) for e in own), key=lambda pair: middle(pair[0])):
        if event.kind == "sends" and since is None:
            since = moment
        elif since is not None and event.kind in _ENDS_SENDING:
            found.append(Sending(since, moment))
            since = None
        elif since is not None and event.kind == "device_rebooted":
            # It fell silent at some moment between its last sign of life and its coming back.
            found.append(Sending(since, Span((known or since).low, None, moment.high)))
            since = None
        if event.source == "device":
            known = moment
    if since is not None:
        found.append(Sending(since, None))
    return tuple(found)


def strikes_of(
    target: TargetStory, events: Sequence[Event], context: Context
) -> tuple[Strike, ...]:
    """Every strike on `target`, whose `sends` are known: felt or called, in order."""
    felt = [
        (_struck_at(event, context), event)
        for event in events
        if event.kind == "strike" and _meant(event, context.corrections) == target.name
    ]
    felt += [
        (_struck_at(event, context), event)
        for event in events
        if _is_called(event) and event.data.get("target") == target.name
    ]
    knocks_s = [
        middle(context.clock.of(event))
        for event in events
        if event.kind == "knock" and event.data.get("device") == target.name
    ]
    found: list[Strike] = []
    for moment, event in sorted(felt, key=lambda pair: middle(pair[0])):
        seen = any(strike.standing in FINDING for strike in found)
        strike = _strike(moment, event, target, seen, context)
        knocked = any(0 <= at_s - middle(moment) < KNOCKING_S for at_s in knocks_s)
        if knocked and strike.standing not in ("withdrawn", "outside") and not strike.corrected:
            strike = replace(strike, standing="knock")
        found.append(strike)
    return tuple(found)


def _is_called(event: Event) -> bool:
    """A strike that nobody's sensor felt and a person says was there."""
    about_another = "event_id" in event.data or "device_key" in event.data
    counts = event.kind == "correction" and event.data.get("verdict") == "counts"
    return counts and not about_another and "run_s" in event.data


def _meant(event: Event, corrected: Corrections) -> object:
    correction = corrected.of(event).get("was_target")
    return event.data.get("device") if correction is None else correction.get("target")


def _struck_at(event: Event, context: Context) -> Span:
    at_time = context.corrections.of(event).get("at_time")
    said = event.data if at_time is None and event.kind == "correction" else at_time
    if said is not None and "run_s" in said:
        # Said by a person with a watch: known to the second.
        said_s = float(said["run_s"])
        return Span(said_s - 0.5, said_s, said_s + 0.5)
    return context.clock.of(event)


def _strike(
    moment: Span, event: Event, target: TargetStory, seen: bool, context: Context
) -> Strike:
    said = context.corrections.of(event)
    called = "counts" if event.kind == "correction" else ""
    verdict = next((one for one in said if one in COUNTING), called)
    strength = event.data.get("strength", event.data.get("strength_mg"))
    sending = event.data.get("sending")
    sent = _sent_at(moment, target) if sending is None else bool(sending)
    standing = _standing(moment, target, seen, verdict, context)
    if standing == "find" and not (sent or _had_sent(moment, target)):
        standing = "early"
    return Strike(
        run_s=moment,
        manner=cast(Manner | None, event.data.get("shape")),
        strength=None if strength is None else int(strength),
        standing=standing,
        felt=event.source == "device",
        sending=sent,
        corrected=", ".join(said) or called,
    )


def _standing(
    moment: Span, target: TargetStory, seen: bool, verdict: str, context: Context
) -> Standing:
    end = context.end_run_s
    if verdict == "no_strike":
        return "withdrawn"
    outside = moment.high < 0 or (end is not None and moment.low > end.high)
    if outside and verdict != "counts":
        return "outside"
    if not target.in_play and verdict != "counts":
        return "stray"
    if moment.high < EARLY_S and verdict != "counts":
        return "hasty"
    return "repeat" if seen else "find"


def _had_sent(moment: Span, target: TargetStory) -> bool:
    return bool(target.sends) and moment.high >= target.sends[0].start.low


def _sent_at(moment: Span, target: TargetStory) -> bool:
    at_s = middle(moment)
    return any(
        middle(one.start) <= at_s and (one.end is None or at_s <= middle(one.end))
        for one in target.sends
    )


def _cue_story(
    place: int,
    cue: Mapping[str, Any],
    target: TargetStory,
    own: Sequence[Event],
    context: Context,
) -> CueStory:
    due = _due(cue, target, context)
    happened = _happened(place, bool(cue["sends"]), own, context)
    return CueStory(
        trigger=cue["trigger"],
        seconds=cue.get("time_s"),
        word=cue.get("word"),
        sends=bool(cue["sends"]),
        because=str(cue.get("because") or ""),
        due=due,
        happened=happened,
        followed=_followed(due, happened, context.end_run_s),
    )


def _due(cue: Mapping[str, Any], target: TargetStory, context: Context) -> Span | None:
    time_s = cue.get("time_s")
    after_s = float(time_s or 0.0)
    if cue["trigger"] == "at":
        return Span(after_s, after_s, after_s)
    if cue["trigger"] == "on_my_strike":
        struck = [one.run_s for one in target.strikes if one.standing != "outside" and one.felt]
        return _shifted(struck[0], after_s) if struck else None
    if cue["trigger"] == "on_my_dug_out":
        return None if target.dug_out is None else _shifted(target.dug_out, after_s)
    otherwise = None if time_s is None else Span(after_s, after_s, after_s)
    word = int(cue.get("word") or 0)
    released = context.word_run_s.get((target.name, word), context.word_run_s.get(("", word)))
    both = [one for one in (otherwise, released) if one is not None]
    return min(both, key=middle) if both else None


def _shifted(span: Span, by_s: float) -> Span:
    best = None if span.best is None else span.best + by_s
    return Span(span.low + by_s, best, span.high + by_s)


def _happened(place: int, sends: bool, own: Sequence[Event], context: Context) -> Span | None:
    kind = "sends" if sends else "rests"
    moments = [
        context.clock.of(event)
        for event in own
        if event.kind == kind and event.data.get("cue") == place
    ]
    return min(moments, key=middle, default=None)


def _followed(due: Span | None, happened: Span | None, end: Span | None) -> Followed:
    if happened is not None:
        late = due is not None and happened.low > due.high + LATE_S
        return "late" if late else "as_planned"
    ran_out = due is None or (end is not None and due.low >= end.low)
    return "not_due" if ran_out else "missing"
