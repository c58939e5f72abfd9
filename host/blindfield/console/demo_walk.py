"""The modelled searcher of the demo: its path on the screen, its probe in the targets' sensors."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator

from blindfield.console.follow import Follower
from blindfield.links.sim.field import SimField
from blindfield.model.field import Field
from blindfield.model.scenario import Part, Scenario
from blindfield.searcher.problem import problem_of
from blindfield.searcher.profiles import profile_named
from blindfield.searcher.values import Phase, Probe, Trace
from blindfield.searcher.walk import trace

PROFILE = "practised"
MODELLED = f"A modelled searcher ({PROFILE}) walks this run through the targets' real fields."

_LEAD_S = 1.0  # the signal model's stroke begins so long before its contact
_APART_S = 4.0  # what a sensor feels of one stroke, until the next can be played
_FELT_M = 0.6  # from the middle of a target: farther strokes leave it still
_AGAIN_S = 6.0  # a stroke that was not felt is made again
_TRIES = 3

_SAID = {
    Phase.SIGNAL_SEARCH: "Signal search.",
    Phase.COARSE_SEARCH: "Coarse search, along the flux line.",
    Phase.FINE_SEARCH: "Fine search, at the surface.",
    Phase.PINPOINTING: "Pinpointing: the probe.",
    Phase.MARKING: "Marking the signal found.",
    Phase.RETURN: "Back to where the signal search was left.",
    Phase.BACKUP: "Marking does not serve: a backup method.",
    Phase.EXCAVATION: "Digging.",
}


def modelled(scenario: Scenario, place: Field, seed: int) -> Trace:
    """How the modelled searcher goes about this scenario; the same for the same seed."""
    return trace(problem_of(scenario, place), profile_named(PROFILE), seed=seed)


async def follow_model(
    path: Trace, scenario: Scenario, bench: SimField, follower: Follower
) -> None:
    """Walk `path` on the loop's time once the run's clock has begun.

    The probe goes through the signal model and the targets' own detectors. A stroke that one of
    them does not feel is made again, and all that follows comes so much later.
    """
    state = follower.conductor.state
    while state.start_s is None or state.start_s.best is None:
        await asyncio.sleep(0.5)
        state = follower.conductor.state
    begin_s = state.start_s.best
    strokes = list(_felt(path, scenario))
    phase = -1
    for row in range(len(path.run_s)):
        row_s = float(path.run_s[row])
        while strokes and strokes[0][0].run_s <= row_s + _LEAD_S:
            stroke, part = strokes.pop(0)
            await _until(begin_s + stroke.run_s - _LEAD_S)
            begin_s += await _probe(bench, follower, stroke, part)
        await _until(begin_s + row_s)
        follower.searcher_xy = (float(path.x_m[row]), float(path.y_m[row]))
        if path.phase[row] != phase:
            phase = int(path.phase[row])
            follower.say(_SAID[Phase(phase)])


async def _until(host_s: float) -> None:
    await asyncio.sleep(max(0.0, host_s - asyncio.get_running_loop().time()))


async def _probe(bench: SimField, follower: Follower, stroke: Probe, part: Part) -> float:
    """One stroke; the seconds that making it again has cost."""
    if stroke.source is None:
        bench.probe(part.name, "miss")
        return 0.0
    found = len(follower.conductor.state.finds)
    for tried in range(_TRIES):
        bench.probe(part.name, "push" if stroke.push else "sharp")
        await asyncio.sleep(_LEAD_S)
        for _ in range(int(_AGAIN_S)):
            if len(follower.conductor.state.finds) > found:
                return tried * (_LEAD_S + _AGAIN_S)
            await asyncio.sleep(1.0)
        follower.say("Not felt: the probe again.")
    return _TRIES * (_LEAD_S + _AGAIN_S)


def _felt(path: Trace, scenario: Scenario) -> Iterator[tuple[Probe, Part]]:
    """The strokes that a target feels, with the target; a miss only where there is time for it."""
    strokes = [(stroke, part) for stroke in path.probes if (part := _near(stroke, scenario))]
    free_s = 0.0
    for number, (stroke, part) in enumerate(strokes):
        next_s = min((s.run_s for s, _ in strokes[number + 1 :] if s.source), default=1e9)
        if stroke.source is None and (stroke.run_s < free_s or stroke.run_s + _APART_S > next_s):
            continue
        free_s = stroke.run_s + _APART_S
        yield stroke, part


def _near(stroke: Probe, scenario: Scenario) -> Part | None:
    """The target that feels this stroke."""
    if stroke.source is not None:
        return scenario.part(stroke.source)

    def away_m(part: Part) -> float:
        return float(((part.x_m - stroke.x_m) ** 2 + (part.y_m - stroke.y_m) ** 2) ** 0.5)

    nearest = min(scenario.in_play, key=away_m)
    return nearest if away_m(nearest) < _FELT_M else None
