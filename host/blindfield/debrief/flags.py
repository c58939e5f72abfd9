"""What went otherwise than it should in a run, from its events."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from blindfield.debrief.moments import RunClock
from blindfield.debrief.values import Flag, TargetStory, middle
from blindfield.model.events import Event
from blindfield.model.messages import SILENCE_CAUSES
from blindfield.model.span import Span

_PLAIN = {
    "device_rebooted": "rebooted",
    "load_failed": "load_failed",
    "not_confirmed_silent": "not_confirmed_silent",
    "gap": "gap",
    "void": "void",
    "recovered": "recovered",
    "start_cancelled": "start_cancelled",
    "sheet_reloaded": "reloaded",
}
_CAUSES = dict(SILENCE_CAUSES)
# What the conductor's own flags say, which the events tell better.
_TOLD_BY_EVENTS = (
    "stray strike on",
    "earlier than anyone could be there",
    "was struck before it sent",
    "was dug out though",
    "fell silent: the host",
    "restarted during the run",
    "was lost for a time",
    "not confirmed silent",
)


def read_flags(
    events: Sequence[Event],
    clock: RunClock,
    targets: Sequence[TargetStory],
    summary_flags: Sequence[str],
    end: Span | None,
) -> tuple[Flag, ...]:
    """Every flag of the run, those of the devices and links first, each once.

    A link lost before the start or after `end` is none.
    """
    found = [
        *(_flag(_PLAIN[event.kind], event, clock) for event in events if event.kind in _PLAIN),
        *_silence(events, clock),
        *(flag for flag in _lost_links(events, clock) if _matters(flag, end)),
        *(_flag("word_unheard", event, clock) for event in events if _unheard(event)),
        *(_flag("lease", event, clock) for event in events if _lease_ran_out(event)),
        *_target_flags(targets),
    ]
    found += [
        Flag(kind="other", text=one)
        for one in summary_flags
        if not any(known in one for known in _TOLD_BY_EVENTS)
    ]
    return tuple(dict.fromkeys(found))


def _matters(flag: Flag, end: Span | None) -> bool:
    if flag.run_s is None:
        return True
    back_s = flag.run_s.high + (flag.seconds if flag.seconds is not None else math.inf)
    return back_s >= 0 and (end is None or flag.run_s.low <= end.high)


def _silence(events: Sequence[Event], clock: RunClock) -> list[Flag]:
    """One flag for the first sign of a silence: every device follows it within moments."""
    signs = [event for event in events if event.kind in ("silenced", "silence_sent", "knock")]
    if not signs:
        return []
    first = min(signs, key=lambda event: middle(clock.of(event)))
    kind = "silenced_by_knock" if _by_knock(first) else "silenced"
    flag = _flag(kind, first, clock)
    return [replace(flag, text=_CAUSES.get(flag.text, flag.text))]


def _by_knock(event: Event) -> bool:
    return event.kind == "knock" or (
        event.data.get("cause") == "knock" and event.source == "device"
    )


def _flag(kind: str, event: Event, clock: RunClock) -> Flag:
    data = event.data
    return Flag(
        kind=kind,
        target=data.get("device"),
        run_s=clock.of(event) if clock.knows(event) else None,
        text=str(data.get("reason") or data.get("cause") or data.get("action") or ""),
    )


def _unheard(event: Event) -> bool:
    return event.kind == "word_sent" and event.data.get("acknowledged") is False


def _lost_links(events: Sequence[Event], clock: RunClock) -> list[Flag]:
    """One flag per loss, with the seconds without a link (None: it did not come back)."""
    flags: list[Flag] = []
    for place, event in enumerate(events):
        if event.kind != "link_lost":
            continue
        device = event.data.get("device")
        back = next(
            (
                later
                for later in events[place + 1 :]
                if later.kind == "link_back" and later.data.get("device") == device
            ),
            None,
        )
        lost = _flag("link_lost", event, clock)
        flags.append(
            Flag(
                kind="gone" if back is None else "link_lost",
                target=lost.target,
                run_s=lost.run_s,
                seconds=_away_s(back, lost.run_s, clock),
                text=lost.text,
            )
        )
    return flags


def _away_s(back: Event | None, lost: Span | None, clock: RunClock) -> float | None:
    if back is None:
        return None
    if "away_s" in back.data:
        return float(back.data["away_s"])
    return None if lost is None else max(0.0, clock.of(back).minus(lost).high)


def _lease_ran_out(event: Event) -> bool:
    return event.kind == "ended" and event.data.get("cause") == "lease"


def _target_flags(targets: Sequence[TargetStory]) -> list[Flag]:
    flags = [
        Flag(kind=kind, target=target.name, run_s=strike.run_s)
        for target in targets
        for strike in target.strikes
        for kind, shows in (
            ("stray", strike.standing == "stray"),
            ("early", strike.standing == "early"),
            ("hasty", strike.standing == "hasty"),
        )
        if shows
    ]
    for target in targets:
        if target.dug_out is not None and not target.in_play:
            flags.append(Flag(kind="dug_stray", target=target.name, run_s=target.dug_out))
        if target.dug_out is not None and target.in_play and target.struck is None:
            flags.append(Flag(kind="unfelt", target=target.name, run_s=target.dug_out))
    return flags
