"""Walks a problem with many modelled searchers at once, or one of them in detail."""

from __future__ import annotations

import numpy as np

from blindfield.model.errors import ConfigError
from blindfield.physics.arrays import Bools
from blindfield.searcher.after import after_strike
from blindfield.searcher.coarse import coarse_search
from blindfield.searcher.fine import fine_search
from blindfield.searcher.hearing import HIP_M, hear, note
from blindfield.searcher.pinpoint import pinpointing
from blindfield.searcher.planned import backup_search, signal_search, way_back
from blindfield.searcher.profiles import Profile
from blindfield.searcher.recorder import Recorder
from blindfield.searcher.scene import scene_of
from blindfield.searcher.state import DONE, State, state_of
from blindfield.searcher.values import Phase, Problem, Trace, Walks

OVERTIME_S = 300.0
"""A searcher gives up so long after the time limit, as a run of the field does."""

_WALKED = (
    (Phase.SIGNAL_SEARCH, signal_search),
    (Phase.COARSE_SEARCH, coarse_search),
    (Phase.RETURN, way_back),
    (Phase.BACKUP, backup_search),
)


def walk(
    problem: Problem, profile: Profile, *, count: int, seed: int, until_s: float | None = None
) -> Walks:
    """`count` searches of `problem` by searchers of `profile`, the same for the same seed.

    Each searcher draws a pace, a receiver, the lie of the packs and every antenna nobody noted, and
    every error on the way. On each leg: signal search on strips, coarse search on the flux line,
    fine search, pinpointing; then marking (or digging, when the problem ends on dug out; a target
    lifted is silent and needs no mark); then straight to another signal that the receiver shows, or
    a backup method when marking failed or is forbidden and another target is within 15 m, or back
    to where the signal search was left.

    found_s of the l-th find = found_s of the one before + its excavation + all other phases of leg
    l; dug_s = found_s + excavation. `phase_s` is nan on a leg that did not end in a find, and its
    excavation is nan where the digging did not end. `until_s` (default: the time limit and 300 s):
    who has not found all by then gives up. Walking goes in steps of one second.

    Raises ConfigError for a problem that cannot be walked, or a count below 1.
    """
    if count < 1:
        raise ConfigError(f"{count} searchers are none.", remedy="Ask for one or more.")
    return _walks(_searched(problem, profile, count, seed, until_s, None))


def trace(problem: Problem, profile: Profile, *, seed: int, until_s: float | None = None) -> Trace:
    """One search in detail: the very search that `walk` gives for a count of 1 and this seed.

    Raises ConfigError as `walk`.
    """
    recorder = Recorder()
    state = _searched(problem, profile, 1, seed, until_s, recorder)
    names = [source.name for source in problem.sources]
    found, dug = (
        {name: s for name, s in zip(names, times[0].tolist(), strict=True) if s == s}
        for times in (state.found_s, state.dug_s)
    )
    return recorder.trace(found, dug, state.scene.until_s)


def _searched(
    problem: Problem,
    profile: Profile,
    count: int,
    seed: int,
    until_s: float | None,
    recorder: Recorder | None,
) -> State:
    rng = np.random.default_rng(seed)
    end_s = problem.time_limit_s + OVERTIME_S if until_s is None else until_s
    state = state_of(scene_of(problem, profile, count=count, rng=rng, until_s=end_s), recorder)
    everyone = np.arange(count)
    note(state, everyone, hear(state, everyone, HIP_M))
    while (state.phase != DONE).any():
        _advance(state)
        state.stop_late()
    return state


def _advance(state: State) -> None:
    """A second for all who walk; the whole of it for those in a phase of closed form."""
    for phase, step in _WALKED:
        who = state.at(phase)
        if who.size:
            step(state, who)
    who = state.at(Phase.FINE_SEARCH)
    if who.size:
        fine_search(state, who)
        after_strike(state, pinpointing(state, who))


def _walks(state: State) -> Walks:
    order = state.order
    ended = order >= 0
    phase_s = np.where(ended[..., None], state.phase_s, np.nan)
    if state.scene.problem.end_on == "dug_out":
        dug_s = np.take_along_axis(state.dug_s, np.maximum(order, 0), axis=1)
        undug: Bools = ended & np.isnan(dug_s)
        phase_s[undug, Phase.EXCAVATION] = np.nan
    return Walks(state.found_s, state.dug_s, order, phase_s, state.backup)
