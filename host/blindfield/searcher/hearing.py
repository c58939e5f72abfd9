"""What the receivers of some searchers hear, and which signal they show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from blindfield.physics.arrays import Bools, Floats, Ints
from blindfield.physics.dipole import field_a_m
from blindfield.physics.receiver import arrow_deg, displayed_distance_m, signal
from blindfield.searcher.scene import NOISE_AT_THRESHOLD
from blindfield.searcher.state import State

HIP_M = 1.0  # a receiver carried while walking; common practice, no source
SURFACE_M = 0.05  # and held over the snow in fine search; common practice, no source


@dataclass(frozen=True)
class Heard:
    """For n searchers and k sources: `field` (n, k, 3) and `strength_a_m` (n, k) without noise,
    `heard` (n, k) what sends and reaches the receiver, `shown` (n,) the signal displayed (-1:
    none), `lead` (n,) the same where it is one to go to, -1 where it is none or one found before.
    """

    field: Floats
    strength_a_m: Floats
    heard: Bools
    shown: Ints
    lead: Ints


def hear(state: State, who: Ints, height_m: Floats | float) -> Heard:
    """What `who` hear where they are, by the true field of every source.

    The strongest signal is shown that is not marked and not hidden: a signal is hidden when its
    pulses cannot be told apart from those of a stronger one within the receiver's window.
    """
    scene = state.scene
    point_m = np.stack([state.x_m[who], state.y_m[who], np.zeros(who.size)], axis=-1)
    point_m[:, 2] = height_m
    field = field_a_m(point_m[:, None, :] - scene.place_m, scene.moment_a_m2[who])
    strength = signal(field)
    run_s = state.run_s[who]
    sends = (run_s[:, None] >= state.begin_s[who]) & (run_s[:, None] < state.end_s[who])
    heard = sends & (strength >= scene.threshold_a_m[who, None])
    candidate = heard & ~state.marked[who]
    if scene.senders > 1:
        stronger = (strength[:, None, :] > strength[:, :, None]) & heard[:, None, :]
        candidate &= ~(scene.hides[scene.second(run_s)] & stronger).any(axis=2)
    best = np.where(candidate, strength, 0.0).argmax(axis=1)
    rows = np.arange(who.size)
    shown = np.where(candidate[rows, best], best, -1)
    lead = np.where(np.isnan(state.found_s[who, best]), shown, -1)
    return Heard(field, strength, heard, shown, lead)


def read(state: State, who: Ints, heard: Heard) -> Floats:
    """The field (n, 3) of each lead as the receiver measures it: with noise on every axis.

    Where there is no lead, the field of the first source: for the caller to leave out. The noise
    is normal, half the weakest field that the receiver hears, drawn anew for each reading.
    """
    true = heard.field[np.arange(who.size), np.maximum(heard.lead, 0)]
    noise = NOISE_AT_THRESHOLD * state.scene.threshold_a_m[who, None]
    return true + noise * state.scene.rng.standard_normal((who.size, 3))


def note(state: State, who: Ints, heard: Heard, reading: Floats | None = None) -> None:
    """Gives the recorder what its searcher's receiver shows now, where there is a recorder."""
    if state.recorder is None or not who.size:
        return
    shown = int(heard.shown[0])
    field = heard.field[0, max(shown, 0)]
    if reading is not None and heard.lead[0] >= 0:
        field = reading[0]
    display = float(displayed_distance_m(signal(field))) if shown >= 0 else np.nan
    arrow = float(arrow_deg(field)) if shown >= 0 else np.nan
    state.recorder.row(
        float(state.run_s[who[0]]),
        float(state.x_m[who[0]]),
        float(state.y_m[who[0]]),
        int(state.phase[who[0]]),
        display,
        arrow,
        int(heard.lead[0]),
    )
