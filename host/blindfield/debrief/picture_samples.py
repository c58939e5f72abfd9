"""What the pictures show of the field, as arrays: distances displayed and flux lines on the snow.

Targets send one after the other, so their fields do not add up: at each place the receiver shows
the strongest. All values are at the snow surface, z = 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from blindfield.model.area import Area
from blindfield.physics.arrays import Floats, Ints
from blindfield.physics.dipole import field_a_m, magnitude_a_m, moment_of
from blindfield.physics.emission import NOMINAL_MOMENT_A_M2
from blindfield.physics.receiver import displayed_distance_m
from blindfield.searcher.values import Problem, Source

LEVELS_M = (1.5, 2.0, 3.0, 5.0, 10.0, 20.0, 40.0)
# A coil is no point nearer than this, and a target on the snow has its own height.
LEAST_DEPTH_M = 0.05


@dataclass(frozen=True)
class Grid:
    """Places on the snow: columns at `x_m`, rows at `y_m`, evenly spaced, both rising."""

    x_m: Floats
    y_m: Floats

    @property
    def places_m(self) -> Floats:
        """(rows, columns, 2)."""
        return np.stack(np.meshgrid(self.x_m, self.y_m), axis=-1)


def grid_over(area: Area, count: int) -> Grid:
    """`count` columns and rows over `area`, its edges included. ValueError below 2."""
    if count < 2:
        raise ValueError("a grid needs at least two columns and rows")
    return Grid(
        np.linspace(area.left_m, area.right_m, count),
        np.linspace(area.bottom_m, area.top_m, count),
    )


def with_antennas_known(problem: Problem, seed: int) -> Problem:
    """The same problem with a lie drawn for each antenna that nobody noted, the same by seed.

    Any direction in space is as likely as any other (our choice: nobody knows). What was noted of
    one, its azimuth or its tilt alone, stays.
    """
    rng = np.random.default_rng([seed, len(problem.sources)])
    draws = [
        (float(rng.uniform(0.0, 360.0)), float(np.degrees(np.arcsin(rng.uniform(-1.0, 1.0)))))
        for _ in problem.sources
    ]
    return replace(
        problem,
        sources=tuple(
            replace(
                source,
                azimuth_deg=azimuth_deg if source.azimuth_deg is None else source.azimuth_deg,
                tilt_deg=tilt_deg if source.tilt_deg is None else source.tilt_deg,
            )
            for source, (azimuth_deg, tilt_deg) in zip(problem.sources, draws, strict=True)
        ),
    )


def field_at_places(source: Source, places_m: Floats) -> Floats:
    """Field strength H (..., 3) in A/m of one target at places (..., 2) on the snow.

    Raises ValueError when nobody knows how its antenna lies: see `with_antennas_known`.
    """
    if source.azimuth_deg is None or source.tilt_deg is None:
        raise ValueError(f"how the antenna of {source.name} lies is not known: draw it first")
    strength = NOMINAL_MOMENT_A_M2 if source.moment_a_m2 is None else source.moment_a_m2
    moment_a_m2 = moment_of(strength, source.azimuth_deg, source.tilt_deg)
    offset_m = np.empty((*places_m.shape[:-1], 3))
    offset_m[..., 0] = places_m[..., 0] - source.x_m
    offset_m[..., 1] = places_m[..., 1] - source.y_m
    offset_m[..., 2] = max(source.depth_m, LEAST_DEPTH_M)
    return field_a_m(offset_m, moment_a_m2)


def displayed_at(sources: Sequence[Source], places_m: Floats) -> Floats:
    """Distance (...) in metres that a receiver displays at places (..., 2) on the snow: the
    strongest target's field, read as though coaxial. ValueError without targets, or as above."""
    return displayed_distance_m(_strengths(sources, places_m).max(axis=0))


def strongest_at(sources: Sequence[Source], places_m: Floats) -> Ints:
    """Index (...) of the target whose field is the strongest there; raises as above."""
    index: Ints = np.argmax(_strengths(sources, places_m), axis=0)
    return index


def iso_distance_grid(sources: Sequence[Source], grid: Grid) -> Floats:
    """`displayed_at` (rows, columns) over a grid."""
    return displayed_at(sources, grid.places_m)


def _strengths(sources: Sequence[Source], places_m: Floats) -> Floats:
    if not sources:
        raise ValueError("there is no target, so nothing is displayed anywhere")
    return np.stack([magnitude_a_m(field_at_places(source, places_m)) for source in sources])
