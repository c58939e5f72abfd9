"""Walking by plan: search strips, a backup method's path, and the way back to either."""

from __future__ import annotations

import numpy as np

from blindfield.physics.arrays import Floats, Ints
from blindfield.searcher.hearing import HIP_M, SURFACE_M, hear, note
from blindfield.searcher.state import State
from blindfield.searcher.values import Phase

STEP_S = 1.0


def signal_search(state: State, who: Ints) -> None:
    """A second along the search strips; a signal to go to begins the coarse search."""
    step_m = state.scene.profile.signal_speed_m_s * state.scene.pace[who] * STEP_S
    state.strip_m[who] += step_m
    _move(state, who, *state.scene.strips.at(state.strip_m[who]))
    state.spend(who, Phase.SIGNAL_SEARCH, STEP_S)
    _listen(state, who, Phase.SIGNAL_SEARCH, HIP_M)


def backup_search(state: State, who: Ints) -> None:
    """A second along the backup method's path; at its end, back to the signal search."""
    step_m = state.scene.profile.backup_speed_m_s * state.scene.pace[who] * STEP_S
    state.backup_m[who] += step_m
    x_m, y_m = state.scene.backup.at(state.backup_m[who])
    _move(state, who, x_m + state.middle_m[who, 0], y_m + state.middle_m[who, 1])
    state.spend(who, Phase.BACKUP, STEP_S)
    _listen(state, who, Phase.BACKUP, SURFACE_M)
    ended = state.backup_m[who] >= state.scene.backup.length_m
    turn_back(state, who[ended & (state.phase[who] == Phase.BACKUP)], Phase.SIGNAL_SEARCH)


def turn_back(state: State, who: Ints, to: Phase) -> None:
    """Begins the way back to where `to` was left."""
    state.phase[who] = Phase.RETURN
    state.resume[who] = to


def way_back(state: State, who: Ints) -> None:
    """A second of the way back to where the signal search or the backup path was left."""
    step_m = state.scene.profile.return_speed_m_s * state.scene.pace[who] * STEP_S
    to_x, to_y = state.scene.strips.at(state.strip_m[who])
    backup_x, backup_y = state.scene.backup.at(state.backup_m[who])
    near = state.resume[who] == Phase.BACKUP
    to_x = np.where(near, backup_x + state.middle_m[who, 0], to_x)
    to_y = np.where(near, backup_y + state.middle_m[who, 1], to_y)
    left_m = np.hypot(to_x - state.x_m[who], to_y - state.y_m[who])
    share = np.minimum(1.0, step_m / np.maximum(left_m, 1e-9))
    x_m = state.x_m[who] + share * (to_x - state.x_m[who])
    y_m = state.y_m[who] + share * (to_y - state.y_m[who])
    _move(state, who, x_m, y_m)
    state.spend(who, Phase.RETURN, STEP_S * np.minimum(1.0, left_m / step_m))
    _listen(state, who, Phase.RETURN, HIP_M)
    there = who[(left_m <= step_m) & (state.phase[who] == Phase.RETURN)]
    state.phase[there] = state.resume[there]


def _move(state: State, who: Ints, x_m: Floats, y_m: Floats) -> None:
    east, north = x_m - state.x_m[who], y_m - state.y_m[who]
    length_m = np.hypot(east, north)
    went = length_m > 1e-9
    state.east[who[went]] = east[went] / length_m[went]
    state.north[who[went]] = north[went] / length_m[went]
    state.x_m[who], state.y_m[who] = x_m, y_m


def _listen(state: State, who: Ints, phase: Phase, height_m: float) -> None:
    heard = hear(state, who, height_m)
    note(state, who, heard)
    taken = (heard.lead >= 0) & (state.run_s[who] >= state.deaf_until_s[who])
    take_up(state, who[taken], heard.lead[taken], phase)


def take_up(state: State, who: Ints, lead: Ints, phase: Phase) -> None:
    """Begins the coarse search for `lead`, after a reaction that counts to `phase`."""
    if phase in (Phase.BACKUP, Phase.SIGNAL_SEARCH):  # a way back under way keeps its goal
        state.resume[who] = phase
    state.spend(who, phase, state.scene.profile.reaction_s)
    state.phase[who] = Phase.COARSE_SEARCH
    state.lead[who] = lead
    state.lost_s[who] = 0.0
    state.shown_m[who] = np.inf
    state.heading_error_rad[who] = 0.0
    forget(state, who)


def forget(state: State, who: Ints) -> None:
    """What was displayed so far was another signal's, or long ago."""
    state.least_m[who] = np.inf
    state.trend_m[who] = np.inf
    state.least_trend_m[who] = np.inf
