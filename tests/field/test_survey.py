"""Places from tape readings, against an independent solver; bad readings named."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import least_squares

from blindfield.field.pegs import line_named, point_named
from blindfield.field.snooping import CRITICAL, judge, worst_w
from blindfield.field.suggest import next_origins
from blindfield.field.survey import (
    Kind,
    Reading,
    adjust,
    never_meet,
    reading_of,
    readings_from_json,
    residuals_at,
    slopes_at,
)
from blindfield.model.errors import ConfigError
from support.scenarios import small_field
from support.surveying import survey_with_a_blunder, tape

PLACE = small_field()
FIVE = dataclasses.replace(
    PLACE, area_m=((5.0, 0.0), (50.0, 0.0), (40.0, 50.0), (10.0, 45.0), (0.0, 20.0))
)
SAME_PLACE_M = 1e-4  # both solvers stop near a micrometre; a tape is read to the centimetre
inside = st.floats(3.0, 47.0)
errors = st.floats(-0.3, 0.3)


def read(kind: str, origin: str, value_m: float) -> Reading:
    return reading_of(PLACE, kind, origin, value_m)


def scipy_place(readings: list[Reading], start: tuple[float, float]) -> np.ndarray:
    """The same adjustment by scipy, with residuals written down anew."""

    def residuals(at: np.ndarray) -> list[float]:
        found = []
        for reading in readings:
            if reading.kind is Kind.TAPE:
                computed = math.dist(at, point_named(PLACE, reading.origin))
            else:
                line = line_named(PLACE, reading.origin)
                way = line.along if reading.kind is Kind.ALONG else line.across
                computed = float(np.dot(np.subtract(at, line.begin_m), way))
            found.append(computed - reading.value_m)
        return found

    done = least_squares(residuals, start, xtol=1e-12, ftol=1e-12, gtol=1e-12)
    place: np.ndarray = done.x
    return place


@given(x=inside, y=inside, noise=st.lists(errors, min_size=5, max_size=5))
def test_a_place_agrees_with_an_independent_solver(x: float, y: float, noise: list[float]) -> None:
    origins = ("A", "B", "C", "DA25")
    readings = [tape(PLACE, o, (x, y), e) for o, e in zip(origins, noise, strict=False)]
    readings.append(read("offset", "AB", y + noise[4]))
    found = adjust(PLACE, readings, (x + 1.0, y - 1.0))
    expected = scipy_place(readings, (x, y))
    assert (found.x_m, found.y_m) == pytest.approx(tuple(expected), abs=SAME_PLACE_M)


def test_two_tapes_meet_where_two_circles_do() -> None:
    # Circles about (0, 0) and (50, 0): x = (a^2 - b^2 + 50^2) / 100, y = sqrt(a^2 - x^2).
    found = adjust(PLACE, [read("tape", "A", 30.0), read("tape", "B", 40.0)], (20.0, 20.0))
    assert (found.x_m, found.y_m) == pytest.approx((18.0, 24.0), abs=1e-5)
    assert found.spare == 0
    assert found.other_m is None  # the other is outside the ground


def test_the_standard_error_of_a_right_angle_is_that_of_a_reading() -> None:
    found = adjust(PLACE, [read("tape", "A", 30.0), read("tape", "B", 40.0)], (20, 20), 0.1)
    assert found.sigma_m == pytest.approx(0.1, rel=1e-4)  # 30-40-50: the tapes cross squarely


@given(x=inside, y=inside)
def test_redundancy_shares_sum_to_the_readings_to_spare(x: float, y: float) -> None:
    readings = [tape(PLACE, origin, (x, y)) for origin in "ABCD"]
    assert float(np.sum(adjust(PLACE, readings, (x, y)).shares)) == pytest.approx(2.0)


def test_standard_errors_match_repeated_surveys() -> None:
    chance = np.random.default_rng(7)
    at, origins = (12.0, 31.0), ("A", "B", "DA25")
    found = [
        adjust(PLACE, [tape(PLACE, o, at, chance.normal(0, 0.1)) for o in origins], at)
        for _ in range(400)
    ]
    places = np.array([(one.x_m, one.y_m) for one in found])
    worst = math.sqrt(np.linalg.eigvalsh(np.cov(places.T)).max())
    assert found[0].sigma_m == pytest.approx(worst, rel=0.12)  # 400 draws know it to 4 %


def test_base_line_and_offset_give_the_place_they_name() -> None:
    readings = [read("along", "BC", 12.0), read("offset", "BC", 20.0)]
    found = adjust(PLACE, readings, (1.0, 1.0))
    assert (found.x_m, found.y_m) == pytest.approx((30.0, 12.0))


def test_of_two_places_inside_the_ground_the_planned_one_is_taken_and_the_other_told() -> None:
    at = (12.0, 30.0)
    readings = [tape(PLACE, "A", at), tape(PLACE, "C", at)]
    found = adjust(PLACE, readings, (13.0, 31.0))
    assert (found.x_m, found.y_m) == pytest.approx(at, abs=1e-4)
    assert found.other_m == pytest.approx((30.0, 12.0), abs=1e-4)  # across the diagonal
    assert judge(PLACE, readings, (13.0, 31.0)).wanted == 1


@given(x=inside, y=inside, far=st.floats(0, 2 * math.pi))
def test_three_tapes_find_a_target_far_from_its_plan(x: float, y: float, far: float) -> None:
    readings = [tape(PLACE, origin, (x, y)) for origin in ("A", "B", "C")]
    found = adjust(PLACE, readings, (x + 20 * math.cos(far), y + 20 * math.sin(far)))
    assert (found.x_m, found.y_m) == pytest.approx((x, y), abs=SAME_PLACE_M)


def test_tapes_from_one_direction_fix_no_place() -> None:
    at = (25.0, 0.0)
    found = adjust(PLACE, [tape(PLACE, "A", at), tape(PLACE, "B", at)], at)
    assert math.isinf(found.sigma_m)
    three = [tape(PLACE, origin, (10.0, 0.0)) for origin in ("A", "B", "AB25")]
    assert judge(PLACE, three, (10.0, 0.0)).wanted == 1


def test_a_blunder_is_found_in_simulated_surveys() -> None:
    chance = np.random.default_rng(12)
    found = [survey_with_a_blunder(PLACE, chance) for _ in range(150)]
    assert np.mean([one.named_target for one in found]) >= 0.90
    assert np.mean([one.named_reading for one in found]) >= 0.90
    assert np.mean([one.wrong_reading for one in found]) <= 0.01
    assert np.percentile([one.error_m for one in found], 95) <= 0.25
    assert sum(one.false_alarms for one in found) <= 0.02 * 5 * len(found)


def test_three_that_disagree_want_two_more_and_the_fourth_may_settle_it() -> None:
    at = (12.0, 30.0)
    readings = [tape(PLACE, "A", at, 1.0), tape(PLACE, "D", at), tape(PLACE, "DA25", at)]
    three = judge(PLACE, readings, at)
    assert three.disagrees
    assert three.suspects == (0, 1, 2)
    assert three.bad == ()
    assert three.wanted == 2
    five = judge(PLACE, [*readings, tape(PLACE, "B", at), tape(PLACE, "C", at)], at)
    assert five.bad == (0,)
    assert not five.disagrees
    assert five.wanted == 0
    assert five.kept == (1, 2, 3, 4)
    assert residuals_at(PLACE, five.readings, at)[0] == pytest.approx(-1.0)


def test_three_that_agree_want_no_more() -> None:
    at = (12.0, 30.0)
    readings = [tape(PLACE, origin, at, 0.05) for origin in next_origins(PLACE, at)]
    found = judge(PLACE, readings, at)
    assert (found.wanted, found.disagrees, found.bad) == (0, False, ())
    assert found.place is not None
    assert worst_w(found.place) < CRITICAL


def test_readings_that_never_agree_are_not_asked_for_without_end() -> None:
    readings = [tape(PLACE, o, (6.0 * n, 40.0 - 5.0 * n)) for n, o in enumerate("ABCDABC", 1)]
    found = judge(PLACE, readings, (25.0, 25.0))
    assert found.disagrees
    assert found.wanted == 0


@pytest.mark.parametrize("count", [0, 1, 2])
def test_until_three_readings_more_are_wanted(count: int) -> None:
    readings = [tape(PLACE, origin, (12.0, 30.0)) for origin in ("A", "B")][:count]
    found = judge(PLACE, readings, (12.0, 30.0))
    assert found.wanted == 3 - count
    assert (found.place is None) == (count < 2)


def test_circles_that_never_meet_are_told_apart_from_those_that_nearly_do() -> None:
    short = [read("tape", "A", 12.0), read("tape", "B", 20.0)]
    long = [read("tape", "A", 60.0), read("tape", "B", 5.0)]
    close = [read("tape", "A", 25.0), read("tape", "B", 24.8)]
    assert never_meet(PLACE, short) == [tuple(short)]
    assert never_meet(PLACE, long) == [tuple(long)]
    assert never_meet(PLACE, close) == []
    assert never_meet(PLACE, [short[0], read("tape", "A", 31.0)]) == []
    assert judge(PLACE, short, (25.0, 5.0)).disagrees


@pytest.mark.parametrize(
    ("kind", "origin", "value_m", "says"),
    [
        ("tape", "A", -0.1, "A: a tape cannot read"),
        ("tape", "a", 89.0, "A: 89 m is far longer"),
        ("tape", "A", math.nan, "A: a tape cannot"),
        ("tape", "A", math.inf, "A: a tape cannot"),
        ("offset", "AB", -100.0, "AB: -100 m is far"),
        ("tape", "E", 5.0, 'no peg "E"'),
        ("along", "AC", 5.0, "no side"),
    ],
)
def test_an_absurd_reading_is_refused_by_its_peg(
    kind: str, origin: str, value_m: float, says: str
) -> None:
    with pytest.raises(ConfigError, match=says):
        reading_of(PLACE, kind, origin, value_m)


def test_readings_survive_the_logbook_and_damaged_ones_are_left() -> None:
    readings = [read("tape", "AB12.5", 20.0), read("offset", "BC", 3.0)]
    rows = [reading.to_json() for reading in readings]
    damaged = [["tape", "A"], ["spirit", "A", 1.0], ["tape", "Q", 1.0], ["tape", "A", "x"], 7]
    assert readings_from_json(PLACE, [*rows, *damaged]) == readings  # type: ignore[list-item]


@given(x=inside, y=inside)
def test_what_is_asked_for_is_in_reach_and_checks_itself(x: float, y: float) -> None:
    origins = next_origins(PLACE, (x, y))
    assert len(set(origins)) == 3
    assert all(math.dist(point_named(PLACE, o), (x, y)) <= 50.0 for o in origins)
    slopes = slopes_at(PLACE, [tape(PLACE, o, (x, y)) for o in origins], (x, y))
    shares = 1.0 - np.diag(slopes @ np.linalg.inv(slopes.T @ slopes) @ slopes.T)
    assert float(np.min(shares)) > 0.11  # a metre stands out at 3.3 sigma


@pytest.mark.parametrize("at", [(6.0, 3.0), (25.0, 25.0), (38.0, 46.0)])
def test_what_is_asked_for_serves_other_grounds(at: tuple[float, float]) -> None:
    assert len(next_origins(FIVE, at)) == 3
    small = dataclasses.replace(PLACE, width_m=3.0, height_m=2.0)
    assert len(next_origins(small, (at[0] / 20, at[1] / 25))) == 3


def test_a_peg_left_out_or_used_is_not_asked_for_again() -> None:
    at = (12.0, 30.0)
    first = next_origins(PLACE, at)
    others = next_origins(PLACE, at, [tape(PLACE, first[0], at)], skip=frozenset({first[1]}))
    assert not {first[0], first[1]} & set(others)
    marks = next_origins(PLACE, at, count=8, skip=frozenset("ABCD"))
    assert sorted(marks) == ["AB25", "BC25", "CD25", "DA25"]
    assert next_origins(PLACE, at, count=8, skip=frozenset([*"ABCD", *marks])) == ()
