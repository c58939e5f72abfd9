"""Phases whose time has a closed form, told to the recorder as though they were walked."""

from __future__ import annotations

import numpy as np

from blindfield.physics.dipole import field_a_m
from blindfield.physics.receiver import arrow_deg, displayed_distance_m, signal
from blindfield.searcher.hearing import SURFACE_M
from blindfield.searcher.state import State
from blindfield.searcher.values import Phase

Corner = tuple[float, float, float]
"""run_s, x_m, y_m"""

AWAY = frozenset({Phase.PINPOINTING, Phase.EXCAVATION})
"""The receiver is put away while the searcher probes or digs."""


def show_path(state: State, one: int, corners: list[Corner], phase: Phase) -> None:
    """Records that searcher `one` goes from where it is along `corners`. Draws nothing."""
    if state.recorder is None:
        return
    lead = int(state.lead[one])

    def show(run_s: float, x_m: float, y_m: float) -> tuple[float, float]:
        if phase in AWAY:
            return np.nan, np.nan
        offset_m = np.array([x_m, y_m, SURFACE_M]) - state.scene.place_m[lead]
        field = field_a_m(offset_m, state.scene.moment_a_m2[one, lead])
        return float(displayed_distance_m(signal(field))), float(arrow_deg(field))

    here = (float(state.run_s[one]), float(state.x_m[one]), float(state.y_m[one]))
    state.recorder.path([here, *corners], phase, lead, show)


def stand(state: State, one: int, until_s: float, phase: Phase) -> None:
    """Records that searcher `one` stays where it is until then."""
    show_path(state, one, [(until_s, float(state.x_m[one]), float(state.y_m[one]))], phase)
