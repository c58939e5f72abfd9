"""After a strike: dig or mark, then decide where to go on."""

from __future__ import annotations

import numpy as np

from blindfield.physics.arrays import Bools, Ints
from blindfield.searcher.episodes import stand
from blindfield.searcher.excavation import excavation_s
from blindfield.searcher.hearing import SURFACE_M, hear, note
from blindfield.searcher.planned import take_up, turn_back
from blindfield.searcher.state import DONE, State
from blindfield.searcher.values import Phase

BACKUP_WITHIN_M = 15.0  # where backup methods serve, as quoted in teaching material
MARKING_TRIES = 2  # ours


def after_strike(state: State, who: Ints) -> None:
    """Keeps the find of `who` (the source in `lead`), and sends them on."""
    in_time = state.run_s[who] <= state.scene.until_s
    state.phase[who[~in_time]] = DONE
    who = who[in_time]
    _keep_find(state, who)
    if state.scene.problem.end_on == "dug_out":
        who = _dig(state, who)
    all_found = state.leg[who] + 1 == state.scene.senders
    state.phase[who[all_found]] = DONE
    who = who[~all_found]
    state.leg[who] += 1
    if state.scene.problem.marking_allowed and state.scene.problem.end_on == "strike":
        _mark(state, who)
    _go_on(state, who)


def _keep_find(state: State, who: Ints) -> None:
    lead, run_s = state.lead[who], state.run_s[who]
    state.found_s[who, lead] = run_s
    state.order[who, state.leg[who]] = lead
    for number, source in enumerate(state.scene.problem.sources):
        if source.starts == "first_find":
            state.begin_s[who, number] = np.minimum(state.begin_s[who, number], run_s)
        if source.rests_s is not None:
            struck = who[lead == number]
            state.end_s[struck, number] = state.run_s[struck] + source.rests_s


def _dig(state: State, who: Ints) -> Ints:
    """Digs out what was struck; it falls silent when lifted. Returns those who were in time."""
    lead = state.lead[who]
    seconds = excavation_s(state.scene.depth_m[lead], state.scene.profile) / state.scene.pace[who]
    _stand(state, who, seconds, Phase.EXCAVATION)
    out = state.run_s[who] <= state.scene.until_s
    dug = who[out]
    state.dug_s[dug, lead[out]] = state.run_s[dug]
    state.end_s[dug, lead[out]] = np.minimum(state.end_s[dug, lead[out]], state.run_s[dug])
    state.phase[who[~out]] = DONE
    return dug


def _mark(state: State, who: Ints) -> None:
    """Marks what was struck. It fails while its pulses would hide another signal that is heard."""
    for _ in range(MARKING_TRIES):
        _stand(state, who, state.scene.profile.marking_s, Phase.MARKING)
        heard = hear(state, who, SURFACE_M).heard & np.isnan(state.found_s[who])
        lead = state.lead[who]
        rows = np.arange(who.size)
        spoilt = state.scene.spoils[state.scene.second(state.run_s[who])][rows, :, lead]
        fails = (heard & spoilt).any(axis=1)
        state.marked[who[~fails], lead[~fails]] = True
        who = who[fails]


def _stand(state: State, who: Ints, seconds: np.ndarray | float, phase: Phase) -> None:
    if state.recorder is not None and who.size:
        first = float(np.broadcast_to(seconds, who.shape)[0])
        stand(state, int(who[0]), float(state.run_s[who[0]]) + first, phase)
    state.spend(who, phase, seconds)


def _go_on(state: State, who: Ints) -> None:
    heard = hear(state, who, SURFACE_M)
    near = _backup_serves(state, who)
    straight = heard.lead >= 0
    turn_back(state, who, Phase.SIGNAL_SEARCH)
    backup = who[near & ~straight]
    state.phase[backup] = Phase.BACKUP
    state.backup[backup, state.leg[backup]] = True
    state.backup_m[backup] = 0.0
    state.middle_m[backup] = np.stack([state.x_m[backup], state.y_m[backup]], axis=-1)
    state.phase[who[straight]] = Phase.SIGNAL_SEARCH
    note(state, who, heard)
    _straight_on(state, who[straight], heard.lead[straight])


def _straight_on(state: State, who: Ints, lead: Ints) -> None:
    """Coarse search from the find: which way along the flux line, the receiver does not say.

    The reaction counts to the signal search, of which this leg needs no more.
    """
    side = np.where(state.scene.rng.random(who.size) < 0.5, 1.0, -1.0)
    state.east[who] *= side
    state.north[who] *= side
    take_up(state, who, lead, Phase.SIGNAL_SEARCH)


def _backup_serves(state: State, who: Ints) -> Bools:
    """Whether what was just found still sends, unmarked, with another not found near it."""
    scene = state.scene
    lead, run_s = state.lead[who], state.run_s[who]
    still = ~state.marked[who, lead] & (run_s < state.end_s[who, lead])
    apart_m = np.hypot(
        *(scene.place_m[:, axis] - scene.place_m[lead, axis][:, None] for axis in (0, 1))
    )
    sends = (run_s[:, None] >= state.begin_s[who]) & (run_s[:, None] < state.end_s[who])
    wanted: Bools = sends & np.isnan(state.found_s[who]) & (apart_m < BACKUP_WITHIN_M)
    return np.asarray(still & wanted.any(axis=1))
