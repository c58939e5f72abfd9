"""A second place is told while the readings do not speak against it, and no longer."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize

from blindfield.field.survey import READING_SIGMA_M, Reading, adjust, residuals_at
from blindfield.model.field import Point
from support.scenarios import small_field
from support.surveying import tape

PLACE = small_field()
NEAR_LINE = ("A", "C", "AB2")  # two corners and a mark beside their line: it hardly tells sides
STATED = 6.0
"""How much larger (in sigma^2) the misfit of a place that fits as well may be."""


def misfit(readings: list[Reading], at_m: Point) -> float:
    return float(np.sum((residuals_at(PLACE, readings, at_m) / READING_SIGMA_M) ** 2))


@pytest.mark.parametrize(
    ("at_m", "more", "told"),
    [((18.5, 21.5), 3.2, True), ((18.0, 22.0), 5.4, True), ((22.0, 28.0), 7.0, False)],
)
def test_a_second_place_is_told_while_its_misfit_is_less_than_six_larger(
    at_m: Point, more: float, told: bool
) -> None:
    readings = [tape(PLACE, origin, at_m) for origin in NEAR_LINE]  # read without error: misfit 0
    across = minimize(lambda at: misfit(readings, (at[0], at[1])), (at_m[1], at_m[0]))
    assert across.fun == pytest.approx(more, abs=0.1)
    assert (across.fun < STATED) == told
    found = adjust(PLACE, readings, at_m)
    assert (found.x_m, found.y_m) == pytest.approx(at_m, abs=1e-4)
    assert found.other_m == (pytest.approx(tuple(across.x), abs=1e-3) if told else None)
