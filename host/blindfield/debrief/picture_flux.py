"""Flux lines on the snow: the ways that a searcher who followed the arrow would walk."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from blindfield.debrief.picture_samples import field_at_places, grid_over, strongest_at
from blindfield.model.area import Area
from blindfield.physics.arrays import Bools, Floats
from blindfield.physics.dipole import magnitude_a_m
from blindfield.searcher.values import Source

RING_M = 2.5  # where they end about a target: nearer in they lie too close to be told apart
_SEEDS = 22  # along each side of the area
_CELLS = 28  # the same, for keeping lines apart
_TWIN = 0.45  # a line with more of its length in cells that are taken is left out
_STEPS = 220  # of the area's longer side, the longest line either way
_SHORTEST = 8  # steps


def flux_lines(sources: Sequence[Source], area: Area) -> list[Floats]:
    """Lines (n, 2) along the horizontal projection of the strongest target's field on the snow.

    Each is one true flux line of one target, from edge to edge: of `area`, of the ring about the
    target, or of the part in which that target is the strongest. Second-order steps through the
    dipole's own field; enough of them to fill the area evenly, the longest first.
    """
    seeds = grid_over(area, _SEEDS).places_m.reshape(-1, 2)
    strongest = strongest_at(sources, seeds)
    step_m = max(area.width_m, area.height_m) / _STEPS
    lines: list[Floats] = []
    for index, source in enumerate(sources):
        others = [one for one in sources if one is not source]
        here = seeds[strongest == index]
        ahead, back = (_walk(source, others, area, here, sign * step_m) for sign in (1.0, -1.0))
        lines += [np.concatenate([b[:0:-1], a]) for a, b in zip(ahead, back, strict=True)]
    return _apart([line for line in lines if len(line) >= _SHORTEST], area)


def _walk(
    source: Source, others: Sequence[Source], area: Area, seeds: Floats, step_m: float
) -> list[Floats]:
    """A line (n, 2) from each of `seeds`, forwards or, with a negative step, backwards."""
    here, alive = seeds, np.ones(len(seeds), dtype=bool)
    walked, steps = [here], np.ones(len(seeds), dtype=int)
    for _ in range(_STEPS):
        half = here + _level(source, here) * step_m / 2
        here = np.where(alive[:, None], here + _level(source, half) * step_m, here)
        alive = alive & _goes_on(here, source, others, area)
        if not alive.any():
            break
        walked.append(here)
        steps += alive
    return [line[:count] for line, count in zip(np.stack(walked, axis=1), steps, strict=True)]


def _level(source: Source, places_m: Floats) -> Floats:
    """Unit vectors (n, 2) of the projection; zero straight over a vertical flux line."""
    level = field_at_places(source, places_m)[..., :2]
    length = magnitude_a_m(level)[..., None]
    return np.divide(level, length, out=np.zeros_like(level), where=length > 0)


def _goes_on(here: Floats, source: Source, others: Sequence[Source], area: Area) -> Bools:
    x_m, y_m = here[:, 0], here[:, 1]
    inside = (x_m >= area.left_m) & (x_m <= area.right_m)
    inside &= (y_m >= area.bottom_m) & (y_m <= area.top_m)
    away = np.hypot(x_m - source.x_m, y_m - source.y_m) > max(RING_M, 1.5 * source.depth_m)
    ours: Bools = strongest_at([source, *others], here) == 0
    return inside & away & ours


def _apart(lines: list[Floats], area: Area) -> list[Floats]:
    """The lines to draw: each leads mostly where none of the longer ones does."""
    taken = np.zeros((_CELLS + 1, _CELLS + 1), dtype=bool)
    low = np.array([area.left_m, area.bottom_m])
    cell_m = max(area.width_m, area.height_m) / _CELLS
    kept = []
    for line in sorted(lines, key=len, reverse=True):
        column, row = ((line - low) / cell_m).astype(int).T
        if taken[row, column].mean() < _TWIN:
            taken[row, column] = True
            kept.append(line)
    return kept
