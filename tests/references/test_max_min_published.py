"""The spread of points by the planner's search, against published optima of max-min distance.

REFERENCES: 7 points in the unit square, 0.535898 = 4 - 2 sqrt 3 (computed by a library). The
planner works on a lattice, here of 1/500 of the side.
"""

from __future__ import annotations

import pytest

from blindfield.field.plan_ground import Ground
from blindfield.field.plan_objective import MAX_MIN, Task, terms_of
from blindfield.field.plan_search import Effort, best_layouts

SIDE_M = 50.0
PUBLISHED = {
    4: 1.0,
    7: 0.535898,
}
TOLERANCE = 0.025  # of the optimum; over 8 seeds 0.2 to 2.2 % were lost


def spread(count: int, seed: int) -> float:
    """The least distance of the best layout, as a share of the side."""
    ground = Ground(pitch_m=SIDE_M / 500.0, edge_room_m=0.0)
    task = Task(ground, ground.flags(1), new=count, weights=MAX_MIN, separation_m=0.0)
    best = best_layouts(task, seed, Effort(begins=6), 1)
    return float(terms_of(task, best).value[0]) / SIDE_M


@pytest.mark.parametrize(("count", "seed"), [(4, 1), (7, 1)])
def test_max_min_alone_reaches_the_published_optimum(count: int, seed: int) -> None:
    found = spread(count, seed)
    assert found <= PUBLISHED[count] * (1.0 + 1e-6)
    assert found >= PUBLISHED[count] * (1.0 - TOLERANCE)
