"""Coarse search: along the flux line of the signal shown, until about 3 m are displayed."""

from __future__ import annotations

import numpy as np

from blindfield.physics.arrays import Bools, Floats, Ints
from blindfield.physics.receiver import displayed_distance_m, signal
from blindfield.searcher.hearing import HIP_M, SURFACE_M, hear, note, read
from blindfield.searcher.planned import STEP_S, forget
from blindfield.searcher.state import State
from blindfield.searcher.values import Phase

FINE_FROM_M = 3.0  # displayed; as quoted in teaching material
LOW_FROM_M = 10.0  # displayed: from here the receiver comes down; common practice, no source
NEAR_M = 6.0  # a display that rises after less than this means passed over; ours
RISE_M = 2.0  # a display risen by so much means the wrong way along the flux line; ours
RISE_SHARE = 0.15  # and at least by this share; ours
TURN_ROUND_S = 5.0  # without the signal: back to where it was heard; common practice, no source
GIVE_UP_S = 12.0  # without the signal; ours
DEAF_S = 10.0  # then back to the plan, and so long before it is taken up again; ours
SKIP_M = 5.0  # and the plan goes on so much further along; ours
FRESH = 0.3  # share of the newest display in what the searcher believes to be the trend; ours
ERROR_HELD_S = 4.0  # a wrong heading is kept about so long; ours


def coarse_search(state: State, who: Ints) -> None:
    """A reading of the receiver, and a second of walking by it."""
    heard = hear(state, who, _height_m(state.shown_m[who]))
    reading = read(state, who, heard)
    note(state, who, heard, reading)
    got = heard.lead >= 0
    _read_display(state, who[got], heard.lead[got], displayed_distance_m(signal(reading[got])))
    arrived = got & ((state.shown_m[who] <= FINE_FROM_M) | _passed(state, who))
    state.phase[who[arrived]] = Phase.FINE_SEARCH
    state.lost_s[who] = np.where(got, 0.0, state.lost_s[who] + STEP_S)
    round_about = who[state.lost_s[who] == TURN_ROUND_S]
    state.east[round_about] *= -1.0
    state.north[round_about] *= -1.0
    gone = state.lost_s[who] >= GIVE_UP_S
    _lose(state, who[gone])
    walks = ~arrived & ~gone
    _steer(state, who[walks], reading[walks], got[walks])
    _walk(state, who[walks])


def _height_m(shown_m: Floats) -> Floats:
    share = np.clip((shown_m - FINE_FROM_M) / (LOW_FROM_M - FINE_FROM_M), 0.0, 1.0)
    return SURFACE_M + (HIP_M - SURFACE_M) * share


def _read_display(state: State, who: Ints, lead: Ints, shown_m: Floats) -> None:
    other = lead != state.lead[who]
    state.lead[who] = lead
    state.shown_m[who] = shown_m
    forget(state, who[other])
    state.least_m[who] = np.minimum(state.least_m[who], shown_m)
    known = np.isfinite(state.trend_m[who])
    drawn = (1.0 - FRESH) * np.where(known, state.trend_m[who], 0.0)
    state.trend_m[who] = drawn + shown_m * np.where(known, FRESH, 1.0)
    state.least_trend_m[who] = np.minimum(state.least_trend_m[who], state.trend_m[who])


def _passed(state: State, who: Ints) -> Bools:
    least_m = state.least_m[who]
    return (least_m < NEAR_M) & (state.shown_m[who] > 1.2 * least_m + 0.3)


def _lose(state: State, who: Ints) -> None:
    state.deaf_until_s[who] = state.run_s[who] + DEAF_S
    to_backup = state.resume[who] == Phase.BACKUP
    state.strip_m[who] += np.where(to_backup, 0.0, SKIP_M)
    state.phase[who] = Phase.RETURN


def _steer(state: State, who: Ints, reading: Floats, got: Bools) -> None:
    """Turns along the arrow, on the side nearer to the present heading; about when it is wrong."""
    rise_m = np.maximum(RISE_M, RISE_SHARE * state.least_trend_m[who])
    wrong = got & (state.trend_m[who] > state.least_trend_m[who] + rise_m)
    state.least_trend_m[who] = np.where(wrong, state.trend_m[who], state.least_trend_m[who])
    state.spend(who[wrong], Phase.COARSE_SEARCH, state.scene.profile.reaction_s)
    level = np.hypot(reading[:, 0], reading[:, 1])
    east, north = reading[:, 0] / level, reading[:, 1] / level
    ahead = east * state.east[who] + north * state.north[who] >= 0
    side = np.where(ahead == wrong, -1.0, 1.0)
    state.east[who] = np.where(got, side * east, state.east[who])
    state.north[who] = np.where(got, side * north, state.north[who])


def _walk(state: State, who: Ints) -> None:
    scene, profile = state.scene, state.scene.profile
    keep = np.exp(-STEP_S / ERROR_HELD_S)
    fresh = np.radians(profile.heading_error_deg) * scene.rng.standard_normal(who.size)
    error = keep * state.heading_error_rad[who] + np.sqrt(1.0 - keep**2) * fresh
    state.heading_error_rad[who] = error
    far = (state.shown_m[who] - FINE_FROM_M) / max(profile.slow_from_m - FINE_FROM_M, 1e-9)
    faster = profile.coarse_speed_m_s - profile.fine_speed_m_s
    speed = profile.fine_speed_m_s + faster * np.clip(far, 0.2, 1.0)
    step_m = speed * scene.pace[who] * STEP_S
    east, north = state.east[who], state.north[who]
    state.x_m[who] += step_m * (east * np.cos(error) + north * np.sin(error))
    state.y_m[who] += step_m * (north * np.cos(error) - east * np.sin(error))
    state.spend(who, Phase.COARSE_SEARCH, STEP_S)
