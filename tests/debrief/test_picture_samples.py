"""What pictures are drawn from: values on the snow worked by hand, flux lines, places for words."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blindfield.debrief.picture_flux import RING_M, flux_lines
from blindfield.debrief.picture_phases import left_at, phases_of, seconds_in, stretches
from blindfield.debrief.picture_samples import (
    displayed_at,
    field_at_places,
    grid_over,
    iso_distance_grid,
    strongest_at,
)
from blindfield.debrief.pictures import with_antennas_known
from blindfield.field.map_labels import Places
from blindfield.model.area import Area
from blindfield.searcher.values import Source
from support.traces import made_problem, made_sources, made_trace

EXACT = 1e-12
FIELD = Area(0.0, 0.0, 50.0, 50.0)


def source_at(x_m: float, y_m: float, depth_m: float, tilt_deg: float, azimuth_deg: float = 0.0):
    return Source("one", x_m, y_m, depth_m, azimuth_deg, tilt_deg)


def shown_at(source: Source, x_m: float, y_m: float) -> float:
    return float(displayed_at([source], np.array([x_m, y_m])))


# Values on the snow


def test_straight_above_an_upright_antenna_its_depth_is_displayed() -> None:
    assert shown_at(source_at(10, 20, 1.3, 90), 10, 20) == pytest.approx(1.3, rel=EXACT)


def test_straight_above_a_level_antenna_a_quarter_more_is_displayed() -> None:
    """Broadside the field is half the coaxial one, so the display is the cube root of two off."""
    assert shown_at(source_at(10, 20, 1.0, 0), 10, 20) == pytest.approx(2 ** (1 / 3), rel=EXACT)


def test_along_a_level_antenna_the_distance_is_displayed_and_beside_it_more() -> None:
    east = source_at(0, 0, 1e-9, 0, azimuth_deg=90)  # as deep as it is high: 5 cm
    assert shown_at(east, 20, 0) == pytest.approx(20.0, rel=1e-4)
    assert shown_at(east, 0, 20) == pytest.approx(20 * 2 ** (1 / 3), rel=1e-4)


def test_the_grid_agrees_with_the_dipole_formula_in_its_scalar_form() -> None:
    """|H| = m/(4 pi r^3) sqrt(1 + 3 cos^2), so the display is r (2 / sqrt(1 + 3 cos^2))^(1/3)."""
    depth_m, grid = 1.5, grid_over(FIELD, 26)
    shown_m = iso_distance_grid([source_at(20.5, 30.5, depth_m, 90)], grid)
    assert shown_m.shape == (26, 26)
    for row, column in ((0, 0), (3, 17), (15, 10), (25, 25)):
        level_m = math.dist((grid.x_m[column], grid.y_m[row]), (20.5, 30.5))
        r_m = math.hypot(level_m, depth_m)
        share = 2 / math.sqrt(1 + 3 * (depth_m / r_m) ** 2)
        assert shown_m[row, column] == pytest.approx(r_m * share ** (1 / 3), rel=EXACT)


def test_of_two_targets_the_strongest_is_displayed() -> None:
    near, far = source_at(10, 10, 1, 90), source_at(40, 40, 1, 90)
    places = np.array([[12.0, 10.0], [38.0, 41.0]])
    assert strongest_at([near, far], places).tolist() == [0, 1]
    loud = dataclasses.replace(far, moment_a_m2=1e9)
    assert strongest_at([near, loud], places).tolist() == [1, 1]
    expected = [shown_at(near, 12, 10), shown_at(far, 38, 41)]
    assert displayed_at([near, far], places) == pytest.approx(expected, rel=EXACT)


def test_what_cannot_be_sampled_is_refused() -> None:
    with pytest.raises(ValueError, match="no target"):
        displayed_at([], np.zeros(2))
    with pytest.raises(ValueError, match="antenna of one lies is not known"):
        field_at_places(Source("one", 1, 1, 1, azimuth_deg=20), np.zeros(2))
    with pytest.raises(ValueError, match="at least two"):
        grid_over(FIELD, 1)


def test_antennas_nobody_noted_are_drawn_by_seed() -> None:
    sources = (Source("a", 1, 1, 1), Source("b", 2, 2, 1, azimuth_deg=33.0), *made_sources())
    problem = made_problem(sources=sources)
    known = with_antennas_known(problem, 4).sources
    assert known == with_antennas_known(problem, 4).sources
    assert known[0] != with_antennas_known(problem, 5).sources[0]
    assert known[1].azimuth_deg == 33.0
    assert known[2:] == made_sources()
    assert all(-90 <= one.tilt_deg <= 90 and 0 <= one.azimuth_deg < 360 for one in known[:2])


# Flux lines


def test_flux_lines_of_a_level_dipole_are_the_textbook_curves() -> None:
    """In the plane of the dipole r / sin^2 is one value along a line; the angle from its axis."""
    source = source_at(25, 25, 1e-9, 0, azimuth_deg=90)
    lines = flux_lines([source], FIELD)
    assert len(lines) > 20
    for line in lines:
        x_m, y_m = (line - (25.0, 25.0)).T
        r_m = np.hypot(x_m, y_m)
        sine_square = (y_m / r_m) ** 2
        away = sine_square > 0.02  # near the axis both go to zero
        curve_m = (r_m / sine_square)[away]
        if curve_m.size:
            assert np.ptp(curve_m) < 0.03 * curve_m.mean()


def test_a_flux_line_stays_inside_and_with_its_target() -> None:
    sources = made_sources()
    for line in flux_lines(sources, FIELD):
        owner = set(strongest_at(sources, line[1:-1]).tolist())
        assert len(owner) == 1
        nearest_m = min(np.hypot(*(line - (one.x_m, one.y_m)).T).min() for one in sources)
        assert nearest_m > RING_M * 0.8
        assert line.min() >= -0.5
        assert line.max() <= 50.5


# Words on the page


@settings(max_examples=30)
@given(st.lists(st.tuples(st.integers(1, 9), st.integers(1, 9)), max_size=6, unique=True))
def test_words_have_places_of_their_own(spots: list[tuple[int, int]]) -> None:
    places = Places(Area(0, 0, 100, 100))
    for x, y in spots:
        places.around(10.0 * x, 10.0 * y, 12.0, 6.0)
    for place, one in enumerate(places.boxes):
        assert one.left_m >= -EXACT
        assert one.right_m <= 100 + EXACT
        for other in places.boxes[:place]:
            wide = min(one.right_m, other.right_m) - max(one.left_m, other.left_m)
            high = min(one.top_m, other.top_m) - max(one.bottom_m, other.bottom_m)
            assert min(wide, high) <= EXACT


def test_a_ring_without_room_gets_no_figure() -> None:
    places = Places(Area(0, 0, 10, 10))
    line = np.array([[5.0, 5.0], [5.5, 5.0]])
    places.take(5.0, 5.0, 8.0, 8.0)
    assert places.along(line, 2.0, 1.0) is None


def test_phases_of_a_search_are_told_apart() -> None:
    trace = made_trace()
    parts = stretches(trace)
    assert [part.phase for part in parts[:4]] == [0, 1, 2, 3]
    assert (parts[0].first, parts[-1].last) == (0, len(trace.run_s) - 1)
    total_s = sum(seconds_in(trace, phase) for phase in phases_of(trace))
    assert total_s == pytest.approx(float(trace.run_s[-1] - trace.run_s[0]))
    assert len(list(left_at(trace))) == sum(part.phase == 0 for part in parts) == 2
