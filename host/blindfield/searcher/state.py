"""What changes while searchers walk: one array entry for each, on each one's own clock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from blindfield.physics.arrays import Bools, Floats, Ints
from blindfield.searcher.recorder import Recorder
from blindfield.searcher.scene import Scene
from blindfield.searcher.values import Phase

DONE = -1
"""In `phase`: this searcher has found all, or time is up."""


@dataclass
class State:
    """n searchers, k sources. Each searcher's `run_s` runs ahead on its own: they do not meet.

    `strip_m`, `backup_m`: lengths walked of the two planned paths; `resume`: the phase that a
    return leads to. `begin_s`, `end_s` (n, k): when each source sends. `lead`: source followed.
    """

    scene: Scene
    recorder: Recorder | None
    run_s: Floats
    x_m: Floats
    y_m: Floats
    east: Floats  # heading, a unit vector
    north: Floats
    phase: Ints
    leg: Ints
    lead: Ints
    strip_m: Floats
    backup_m: Floats
    middle_m: Floats  # (n, 2), about which a backup path is walked
    resume: Ints
    deaf_until_s: Floats  # after a signal was lost
    lost_s: Floats
    shown_m: Floats  # displayed distance last read
    least_m: Floats  # smallest displayed distance since the lead was taken up
    trend_m: Floats  # displayed distance as the searcher averages it
    least_trend_m: Floats  # and its smallest value since the lead was taken up or turned about
    heading_error_rad: Floats
    attempts: Ints  # fine searches on this leg that the probe did not confirm
    begin_s: Floats
    end_s: Floats
    marked: Bools
    found_s: Floats
    dug_s: Floats
    order: Ints
    phase_s: Floats
    backup: Bools

    def at(self, phase: Phase) -> Ints:
        """Who is in this phase."""
        return np.flatnonzero(self.phase == phase)

    def spend(self, who: Ints, phase: Phase, seconds: Floats | float) -> None:
        """Time passes for `who`, counted to `phase` of the present leg."""
        self.run_s[who] += seconds
        self.phase_s[who, self.leg[who], phase] += seconds

    def stop_late(self) -> None:
        """Ends the search of all whose time is up."""
        self.phase[self.run_s >= self.scene.until_s] = DONE


def state_of(scene: Scene, recorder: Recorder | None) -> State:
    """All at the start, in signal search, about to walk the first strip."""
    count, senders = scene.moment_a_m2.shape[:2]
    begins = [_begin_s(source.starts, source.else_s) for source in scene.problem.sources]
    return State(
        scene=scene,
        recorder=recorder,
        run_s=np.zeros(count),
        x_m=np.full(count, scene.problem.start_x_m),
        y_m=np.full(count, scene.problem.start_y_m),
        east=np.zeros(count),
        north=np.ones(count),
        phase=np.full(count, Phase.SIGNAL_SEARCH, dtype=np.int64),
        leg=np.zeros(count, dtype=np.int64),
        lead=np.full(count, -1),
        strip_m=np.zeros(count),
        backup_m=np.zeros(count),
        middle_m=np.zeros((count, 2)),
        resume=np.full(count, Phase.SIGNAL_SEARCH, dtype=np.int64),
        deaf_until_s=np.zeros(count),
        lost_s=np.zeros(count),
        shown_m=np.full(count, np.inf),
        least_m=np.full(count, np.inf),
        trend_m=np.full(count, np.inf),
        least_trend_m=np.full(count, np.inf),
        heading_error_rad=np.zeros(count),
        attempts=np.zeros(count, dtype=np.int64),
        begin_s=np.tile(begins, (count, 1)),
        end_s=np.full((count, senders), np.inf),
        marked=np.zeros((count, senders), dtype=bool),
        found_s=np.full((count, senders), np.nan),
        dug_s=np.full((count, senders), np.nan),
        order=np.full((count, senders), -1),
        phase_s=np.zeros((count, senders, len(Phase))),
        backup=np.zeros((count, senders), dtype=bool),
    )


def _begin_s(starts: str, else_s: float | None) -> float:
    if starts == "start":
        return 0.0
    return np.inf if else_s is None else else_s
