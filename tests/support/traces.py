"""A modelled search written by hand: it walks the true flux lines, and misses a few probe strokes.

It makes no errors and knows no receivers: for pictures, not for figures.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from blindfield.physics.dipole import field_a_m, magnitude_a_m, moment_of
from blindfield.physics.emission import NOMINAL_MOMENT_A_M2
from blindfield.physics.receiver import arrow_deg, displayed_distance_m
from blindfield.searcher.values import Phase, Probe, Problem, Source, Trace

RANGE_M, FINE_M = 30.0, 3.0
Row = tuple[float, float, float, int, float, float, int]


def made_sources() -> tuple[Source, ...]:
    return (
        Source("Larch", 36.0, 26.0, 1.2, azimuth_deg=70.0, tilt_deg=15.0),
        Source("Gully", 14.0, 40.0, 0.8, azimuth_deg=-20.0, tilt_deg=-10.0, phase_s=0.4),
    )


def made_problem(*, digs: bool = False, sources: tuple[Source, ...] | None = None) -> Problem:
    return Problem(
        width_m=50.0,
        height_m=50.0,
        start_x_m=25.0,
        start_y_m=0.0,
        sources=made_sources() if sources is None else sources,
        end_on="dug_out" if digs else "strike",
        title="Two targets, both sending from the start",
    )


class _Walker:
    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.here = np.array([problem.start_x_m, problem.start_y_m])
        self.run_s = 0.0
        self.rows: list[Row] = []
        self.probes: list[Probe] = []
        self.found: dict[str, float] = {}
        self.dug: dict[str, float] = {}
        self.left = self.here

    def field(self, source: Source) -> np.ndarray:
        moment = moment_of(NOMINAL_MOMENT_A_M2, source.azimuth_deg or 0.0, source.tilt_deg or 0.0)
        place = np.array([source.x_m, source.y_m, -source.depth_m])
        return field_a_m(np.append(self.here, 0.0) - place, moment)

    def displayed_m(self, source: Source) -> float:
        return float(displayed_distance_m(magnitude_a_m(self.field(source))))

    def row(self, phase: Phase, source: Source, heard: bool = True) -> None:
        shown = self.displayed_m(source) if heard else math.nan
        arrow = float(arrow_deg(self.field(source))) if heard else math.nan
        index = self.problem.sources.index(source) if heard else -1
        self.rows.append((self.run_s, *self.here, int(phase), shown, arrow, index))  # type: ignore[arg-type]

    def walk_to(self, there: Iterable[float], phase: Phase, source: Source, speed: float) -> None:
        goal = np.array(list(there))
        begin, length = self.here, float(np.hypot(*(goal - self.here)))
        for step in range(1, max(1, math.ceil(length / speed)) + 1):
            self.here = begin + (goal - begin) * min(1.0, step * speed / length) if length else goal
            self.run_s += 1.0
            self.row(phase, source, phase not in (Phase.SIGNAL_SEARCH, Phase.RETURN))

    def stay(self, phase: Phase, source: Source, seconds: int) -> None:
        for _ in range(seconds):
            self.run_s += 1.0
            self.row(phase, source)

    def follow(self, source: Source) -> None:
        while self.displayed_m(source) > FINE_M:
            turn = math.radians(float(arrow_deg(self.field(source))))
            step = np.array([math.sin(turn), math.cos(turn)])
            begin, ahead = self.here, []
            for sign in (1.0, -1.0):
                self.here = begin + sign * step
                ahead.append((self.displayed_m(source), sign))
            self.here = begin + min(ahead)[1] * step * 1.2
            self.run_s += 1.0
            self.row(Phase.COARSE_SEARCH, source)

    def find(self, source: Source) -> None:
        while self.displayed_m(source) > RANGE_M:
            self.walk_to(self.here + np.array([0.0, 1.4]), Phase.SIGNAL_SEARCH, source, 1.4)
        self.left = self.here
        self.follow(source)
        x, y = source.x_m, source.y_m
        for corner in (
            (x + 1.4, y),
            (x - 1.2, y),
            (x, y),
            (x, y + 1.0),
            (x, y - 0.9),
            (x + 0.4, y),
        ):
            self.walk_to(corner, Phase.FINE_SEARCH, source, 0.25)
        for stroke in range(9):
            turn, reach = 0.9 * stroke, 0.45 - 0.045 * stroke
            hit = source.name if stroke == 8 else None
            self.stay(Phase.PINPOINTING, source, 3)
            place = (x + reach * math.cos(turn), y + reach * math.sin(turn))
            self.probes.append(Probe(self.run_s, *place, hit))
        self.found[source.name] = self.run_s
        self.stay(Phase.MARKING, source, 6)
        if self.problem.end_on == "dug_out":
            self.stay(Phase.EXCAVATION, source, 60)
            self.dug[source.name] = self.run_s

    def trace(self) -> Trace:
        run_s, x, y, phase, shown, arrow, followed = zip(*self.rows, strict=True)
        return Trace(
            np.array(run_s),
            np.array(x),
            np.array(y),
            np.array(phase),
            np.array(shown),
            np.array(arrow),
            np.array(followed),
            tuple(self.probes),
            self.found,
            self.dug,
        )


def made_trace(problem: Problem | None = None) -> Trace:
    """One find after the other, in the order of the sources."""
    walker = _Walker(made_problem() if problem is None else problem)
    walker.row(Phase.SIGNAL_SEARCH, walker.problem.sources[0], heard=False)
    for number, source in enumerate(walker.problem.sources):
        if number:
            walker.walk_to(walker.left, Phase.RETURN, source, 1.3)
        walker.find(source)
    return walker.trace()
