"""Fine search: a bracketing cross at constant height, to the smallest displayed distance."""

from __future__ import annotations

import numpy as np

from blindfield.physics.arrays import Floats, Ints
from blindfield.physics.dipole import field_a_m
from blindfield.physics.receiver import displayed_distance_m, signal
from blindfield.searcher.episodes import show_path
from blindfield.searcher.hearing import SURFACE_M
from blindfield.searcher.state import State
from blindfield.searcher.values import Phase

DISPLAY_STEP_M = 0.1  # what a receiver shows near by; common practice, no source
FIRST_SPARE_M = 1.0  # the first crossing looks this much further than the display says; ours
LATER_REACH_M = 1.5  # half the length of the third crossing and those after; ours


def fine_search(state: State, who: Ints) -> None:
    """The whole cross of each, from where the coarse search ended, and the time it takes.

    The first crossing goes on along the approach, the second at right angles through its smallest
    display, and so on in turn. Readings stand `bracket_spacing_m` apart and have the searcher's
    reading error; the middle of equal smallest ones is taken. The true field decides: where its
    largest value lies aside of the target, so does the result. `shown_m` becomes the smallest
    display.
    """
    profile = state.scene.profile
    east, north = state.east[who].copy(), state.north[who].copy()
    far_m = np.minimum(state.shown_m[who], 2.0 * LATER_REACH_M + FIRST_SPARE_M)
    for number in range(profile.bracket_crossings):
        reach_m = far_m + FIRST_SPARE_M if number < 2 else np.full(who.size, LATER_REACH_M)
        best_m, least_m = _crossing(state, who, east, north, reach_m)
        state.shown_m[who] = least_m
        _walk_crossing(state, who, east, north, best_m, both=number > 0)
        east, north = north, -east
    state.phase[who] = Phase.PINPOINTING


def _crossing(
    state: State, who: Ints, east: Floats, north: Floats, reach_m: Floats
) -> tuple[Floats, Floats]:
    """How far along the crossing the smallest display is, and that display."""
    scene, profile = state.scene, state.scene.profile
    half = int(np.ceil(reach_m.max() / profile.bracket_spacing_m))
    steps = np.arange(-half, half + 1) * profile.bracket_spacing_m
    along_m = steps + scene.rng.uniform(-0.5, 0.5, (who.size, 1)) * profile.bracket_spacing_m
    offset_m = np.empty((*along_m.shape, 3))
    lead = state.lead[who]
    offset_m[..., 0] = (state.x_m[who] - scene.place_m[lead, 0])[:, None] + along_m * east[:, None]
    offset_m[..., 1] = (state.y_m[who] - scene.place_m[lead, 1])[:, None] + along_m * north[:, None]
    offset_m[..., 2] = SURFACE_M + scene.depth_m[lead][:, None]
    strength = signal(field_a_m(offset_m, scene.moment_a_m2[who, lead][:, None, :]))
    error = 1.0 + profile.reading_error * scene.rng.standard_normal(along_m.shape)
    shown = np.round(displayed_distance_m(strength) * error / DISPLAY_STEP_M)
    shown = np.where(np.abs(along_m) <= reach_m[:, None], shown, np.inf)
    least = shown.min(axis=1)
    equal = shown == least[:, None]
    best_m = np.where(equal, along_m, 0.0).sum(axis=1) / equal.sum(axis=1)
    return best_m, np.maximum(least, 1.0) * DISPLAY_STEP_M


def _walk_crossing(
    state: State, who: Ints, east: Floats, north: Floats, best_m: Floats, *, both: bool
) -> None:
    """Past the minimum until the display has clearly risen (on both sides), and back to it."""
    profile = state.scene.profile
    past_m = profile.bracket_overshoot * state.shown_m[who]
    ahead_m = np.maximum(best_m, 0.0) + past_m
    back_m = np.where(both | (best_m < 0), np.minimum(best_m, 0.0) - past_m, best_m)
    corners = np.stack([np.zeros_like(best_m), ahead_m, back_m, best_m], axis=-1)
    speed = profile.fine_speed_m_s * state.scene.pace[who]
    run_s = state.run_s[who, None] + np.cumsum(np.abs(np.diff(corners, axis=1)), 1) / speed[:, None]
    if state.recorder is not None:
        places = [
            (s, float(state.x_m[who[0]] + a * east[0]), float(state.y_m[who[0]] + a * north[0]))
            for s, a in zip(run_s[0].tolist(), corners[0, 1:].tolist(), strict=True)
        ]
        rest = (places[-1][0] + profile.decision_s, *places[-1][1:])
        show_path(state, int(who[0]), [*places, rest], Phase.FINE_SEARCH)
    state.spend(who, Phase.FINE_SEARCH, run_s[:, -1] - state.run_s[who] + profile.decision_s)
    state.x_m[who] += best_m * east
    state.y_m[who] += best_m * north
