"""The run as a pure reducer: (state, event) -> (state, commands).

Every event of a run, in the order of recording, gives the state; recovery is replay. The reducer
never does anything: its commands are carried out by the conductor, and their results come back
as further events.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from blindfield.conduct.run_state import (
    HORN_CANNOT_START,
    HORN_FOUND,
    HORN_LIMIT,
    HORN_START,
    THE_PACK,
    Command,
    EndRun,
    Phase,
    Reload,
    RunState,
    SayWord,
    SilenceAll,
    Sound,
    TargetView,
    best_or_latest,
)
from blindfield.model.events import Event
from blindfield.model.run_summary import Outcome, RunSummary
from blindfield.model.scenario import EARLY_S, KNOCKING_S, WordWhen, scenario_from_json
from blindfield.model.span import Span

__all__ = [
    "HORN_CANNOT_START",
    "HORN_FOUND",
    "HORN_LIMIT",
    "HORN_START",
    "THE_PACK",
    "Command",
    "EndRun",
    "Phase",
    "Reload",
    "RunState",
    "SayWord",
    "SilenceAll",
    "Sound",
    "TargetView",
    "outcome_of",
    "reduce",
    "replay",
    "summary_of",
]


def replay(events: Iterable[Event]) -> RunState:
    """The state after all of `events`."""
    state = RunState()
    for event in events:
        state, _ = reduce(state, event)
    return state


def reduce(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    """The next state, and what is to be done."""
    handler = _HANDLERS.get(event.kind)
    if handler is None or state.phase == "closed":
        return state, ()
    return handler(state, event)


def _drawn(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    scenario = scenario_from_json(event.data["scenario"])
    views = tuple(TargetView(part.name, part.in_play) for part in scenario.targets)
    return (
        replace(
            state,
            run_id=event.run_id or b"",
            scenario=scenario,
            field_name=event.data["field_name"],
            targets=views,
        ),
        (),
    )


def _started(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    low, best, high = event.data["start_host_s"]
    state = replace(state, phase="running", start_s=Span(low, best, high))
    return replace(state, started_utc=event.data["start_utc"]), ()


def _run_s(state: RunState, event: Event) -> Span | None:
    """Run time of the event; None before the start or when its time is unknown."""
    if state.start_s is None or event.host_s is None:
        return None
    return event.host_s.minus(state.start_s)


def _change(state: RunState, changed: TargetView) -> RunState:
    targets = tuple(changed if view.name == changed.name else view for view in state.targets)
    return replace(state, targets=targets)


def _flag(state: RunState, text: str) -> RunState:
    return state if text in state.flags else replace(state, flags=(*state.flags, text))


def _strike(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    view = state.view(event.data.get("device", ""))
    run_s = _run_s(state, event)
    if view is None or run_s is None or run_s.high < 0:
        return state, ()
    if not view.in_play:
        return _flag(state, f"stray strike on {view.name}"), ()
    if run_s.high < EARLY_S:
        return _flag(state, f"strike on {view.name} earlier than anyone could be there"), ()
    if view.struck is not None:
        return state, ()
    if not event.data.get("sending", True):
        before = run_s.high < _sends_from_s(state, view.name)
        state = _flag(state, f"{view.name} was struck {'before it sent' if before else RESTED}")
    state = _change(state, replace(view, struck=run_s))
    return _after_find(state, "strike")


RESTED = "while it rested"


def _sends_from_s(state: RunState, name: str) -> float:
    """The run time from which a target may have sent: for ever from now where it waits for a
    word, which may not have come."""
    part = state.scenario.part(name) if state.scenario else None
    first = next((cue for cue in part.cues if cue.sends), None) if part else None
    timed = first is not None and first.trigger == "at" and first.time_s is not None
    return first.time_s or 0.0 if timed and first is not None else float("inf")


def _dug_out(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    view = state.view(event.data.get("device", ""))
    run_s = _run_s(state, event)
    if view is None or run_s is None or run_s.high < 0 or view.dug_out is not None:
        return state, ()
    if not view.in_play:
        return _flag(state, f"{view.name} was dug out though it was not in play"), ()
    state = _change(state, replace(view, dug_out=run_s))
    return _after_find(state, "dug_out")


def _after_find(state: RunState, how: str) -> tuple[RunState, tuple[Command, ...]]:
    commands: list[Command] = []
    if state.phase not in ("running", "overtime") or state.scenario is None:
        return state, ()
    if how == "strike":
        state, words = _words_due(state, "first_find")
        commands += words
    if state.all_found and not state.until_done:
        commands += [Sound(HORN_FOUND), EndRun("all found")]
        state = replace(state, phase="ending")
    return state, tuple(commands)


def _words_due(state: RunState, when: WordWhen) -> tuple[RunState, list[Command]]:
    scenario = state.scenario
    assert scenario is not None
    words: list[Command] = []
    for rule in scenario.words:
        if rule.when == when and rule.word not in state.said:
            waiting = tuple(
                part.name
                for part in scenario.targets
                if any(cue.trigger == "on_word" and cue.word == rule.word for cue in part.cues)
            )
            words.append(SayWord(rule.word, waiting, when.replace("_", " ")))
            state = replace(state, said=(*state.said, rule.word))
    return state, words


def _word_asked(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    """The instructor's word: nothing happens where the drill does not wait for it."""
    if state.phase not in ("running", "overtime"):
        return state, ()
    state, words = _words_due(state, "instructor")
    return state, tuple(words)


def _sends(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    view = state.view(event.data.get("device", ""))
    if view is None:
        return state, ()
    return _change(state, replace(view, sends=event.kind == "sends")), ()


def _ended(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    view = state.view(event.data.get("device", ""))
    if view is None or state.phase not in ("running", "overtime"):
        return state, ()
    state = _change(state, replace(view, ended=True, sends=False))
    if event.data.get("cause") == "silence":
        return state, ()  # its `silenced` event follows, and says what that means for the run
    if event.data.get("cause") == "lease":
        state = _flag(state, f"{view.name} fell silent: the host was not heard for too long")
    awaited = [other for other in state.targets if other.in_play] or state.targets
    if all(other.ended for other in awaited):
        return replace(state, phase="ending"), (EndRun("no target sends any more"),)
    return state, ()


def _knock(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    view = state.view(event.data.get("device", ""))
    if view is None or state.phase in ("drawn", "closed"):
        return state, ()
    knocking = _was_knocking(state, event, view)
    late = state.phase == "ending" and (state.hushed_by_air or knocking)
    if not (late or state.phase in ("running", "overtime")):
        return state, ()
    if knocking:
        view = replace(view, struck=None)
        state = _change(state, view)
    found = view.struck is not None or view.dug_out is not None
    stop = replace(
        state,
        phase="ending",
        stopped=found,
        knocked=found,
        interrupted=not found,
        hushed_by_air=False,
    )
    return stop, (SilenceAll("knock"), EndRun(f"knock pattern on {view.name}"))


def _was_knocking(state: RunState, event: Event, view: TargetView) -> bool:
    """Whether what was taken for the strike on this target was the knock pattern's own blows."""
    run_s = _run_s(state, event)
    if run_s is None or view.struck is None:
        return False
    return best_or_latest(run_s) - best_or_latest(view.struck) < KNOCKING_S


def _silenced(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    if state.phase not in ("running", "overtime") or event.data.get("cause") == "knock":
        return state, ()  # a knock is told by its own event
    by_air = event.data.get("cause") == "air"
    stop = replace(state, phase="ending", interrupted=True, hushed_by_air=by_air)
    return stop, (SilenceAll("a device was silenced"), EndRun("silence"))


def _silence_sent(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    if state.phase not in ("running", "overtime", "drawn"):
        return state, ()
    return replace(state, phase="ending", interrupted=True), (EndRun("silence"),)


def _stop(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    if state.phase == "ending":
        return state, ()
    started = state.started
    stop = replace(state, phase="ending", stopped=started, interrupted=not started)
    return stop, (EndRun("stopped"),)


def _done(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    run_s = _run_s(state, event)
    if not state.until_done or state.phase not in ("running", "overtime") or run_s is None:
        return state, ()
    if run_s.high < 0:
        return state, ()
    return replace(state, phase="ending", done=run_s), (EndRun("done"),)


def _void(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    return replace(state, phase="ending", void=True), (EndRun("void"),)


def _limit(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    if state.phase != "running":
        return state, ()
    told = state.scenario is None or state.scenario.clock_shown
    return replace(state, phase="overtime"), (Sound(HORN_LIMIT),) if told else ()


def _rebooted(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    name = event.data.get("device", "")
    state = _flag(state, f"{name} restarted during the run")
    if state.phase in ("running", "overtime"):
        return state, (Reload(name),)
    return state, ()


def _link_lost(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    if state.phase in ("running", "overtime"):
        return _flag(state, f"the link to {event.data.get('device', '')} was lost for a time"), ()
    return state, ()


def _unconfirmed(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    name = event.data.get("device", "")
    state = replace(state, phase="ending", unheard=(*state.unheard, name))
    return _flag(state, f"{name} not confirmed silent"), ()


def _confirmed(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    """The close has begun: a silence from here on is its own."""
    return replace(state, phase="ending"), ()


def _recovered(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    return replace(state, phase="ending", interrupted=True), ()


def _closed(state: RunState, event: Event) -> tuple[RunState, tuple[Command, ...]]:
    return replace(state, phase="closed", outcome=event.data["outcome"]), ()


_HANDLERS = {
    "run_drawn": _drawn,
    "started_all": _started,
    "strike": _strike,
    "dug_out": _dug_out,
    "sends": _sends,
    "rests": _sends,
    "ended": _ended,
    "knock": _knock,
    "silenced": _silenced,
    "silence_sent": _silence_sent,
    "stop": _stop,
    "done": _done,
    "word_asked": _word_asked,
    "void": _void,
    "time_limit": _limit,
    "device_rebooted": _rebooted,
    "link_lost": _link_lost,
    "silent_confirmed": _confirmed,
    "not_confirmed_silent": _unconfirmed,
    "recovered": _recovered,
    "closed": _closed,
}


def outcome_of(state: RunState) -> Outcome:
    """Met, not met, stopped by searcher, interrupted or void.

    Also void: not met, and of a target in play that was not found nobody knows whether it sent.
    """
    if state.void:
        return "void"
    if state.met:
        return "met"
    if state.interrupted or not state.started:
        return "interrupted"
    if any(v.in_play and v.name in state.unheard and not state.found(v) for v in state.targets):
        return "void"
    return "stopped" if state.stopped else "not_met"


def summary_of(state: RunState, *, ended_utc: str) -> RunSummary:
    """The line in the list of runs. Raises ValueError for a state without a scenario."""
    scenario = state.scenario
    if scenario is None:
        raise ValueError("no run was drawn")
    return RunSummary(
        run_id=state.run_id,
        field_name=state.field_name,
        scenario_kind=scenario.kind,
        standard=scenario.standard or None,
        time_limit_s=scenario.time_limit_s,
        started_utc=state.started_utc,
        ended_utc=ended_utc,
        outcome=state.outcome or outcome_of(state),
        targets=state.to_find,
        find_run_s=tuple(span for _, span in state.finds),
        flags=state.flags,
        work=scenario.work,
        searcher=scenario.searcher,
        knows_places=scenario.knows_places,
        start_point=scenario.start.name,
        sent=tuple(sorted(part.name for part in scenario.in_play)),
    )
