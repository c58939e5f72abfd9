"""A run as a standard sees it, out of its timeline and events."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from blindfield.debrief.moments import RunClock
from blindfield.debrief.values import FINDING, Timeline, middle
from blindfield.model.errors import NotReady
from blindfield.model.events import Event
from blindfield.model.scenario import Work
from blindfield.scoring.judge import Found, Performance
from blindfield.scoring.ticks import Struck, Tick, ticks_of

_WORKS: dict[str, Work] = {
    "search only": "search only",
    "search and dig": "search and dig",
    "dig only": "dig only",
}


def performance_of(
    timeline: Timeline,
    events: Sequence[Event],
    *,
    area_m: tuple[float, float] | None = None,
) -> Performance:
    """Raises NotReady for a run that is open. `area_m`: of the field it was made on."""
    if timeline.outcome is None:
        raise NotReady("this run is not closed yet.", remedy="It stays blind until then.")
    scenario, clock = _scenario(events), RunClock(events)
    dug = timeline.end_on == "dug_out"
    work = _WORKS.get(timeline.about.work, "search and dig" if dug else "search only")
    done = next((one for one in reversed(events) if one.kind == "done" and clock.knows(one)), None)
    in_play = [target for target in timeline.targets if target.in_play]
    return Performance(
        outcome=timeline.outcome,
        started=timeline.started,
        work="search and dig" if dug and work == "search only" else work,
        found=tuple(
            Found(target=one.name, struck=one.struck, dug_out=one.dug_out) for one in in_play
        ),
        depths_m=tuple(one.depth_m for one in in_play),
        area_m=area_m,
        told=bool(scenario.get("told", True)),
        marking=bool(scenario.get("marking", True)),
        aided=bool(timeline.about.aids),
        knows_places=timeline.about.knows_places,
        strays=tuple(
            strike.run_s
            for target in timeline.targets
            for strike in target.strikes
            if strike.standing == "stray"
        )
        + tuple(
            target.dug_out
            for target in timeline.targets
            if target.dug_out is not None and not target.in_play
        ),
        until_done=scenario.get("until") == "done",
        done=None if done is None else clock.of(done),
        end_run_s=None if timeline.end_run_s is None else middle(timeline.end_run_s),
    )


def ticks_in(timeline: Timeline, events: Sequence[Event]) -> list[Tick]:
    """The ticks of a run, each with the target it was about as far as that can be told."""
    return ticks_of(events, run_s_of(events), strikes_in(timeline))


def strikes_in(timeline: Timeline) -> list[Struck]:
    """The strikes that found, in their order."""
    found = [
        Struck(target.name, middle(strike.run_s))
        for target in timeline.targets
        for strike in target.strikes
        if strike.standing in FINDING
    ]
    return sorted(found, key=lambda one: one.run_s)


def run_s_of(events: Sequence[Event]) -> Callable[[Event], float | None]:
    """The run time of an event, None where nothing better than "during the run" is known."""
    clock = RunClock(events)
    return lambda event: middle(clock.of(event)) if clock.knows(event) else None


def _scenario(events: Sequence[Event]) -> Mapping[str, Any]:
    for event in events:
        if event.kind == "run_drawn" and isinstance(event.data.get("scenario"), dict):
            scenario: Mapping[str, Any] = event.data["scenario"]
            return scenario
    return {}
