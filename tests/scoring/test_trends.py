"""Times by kind and leg: which runs are in them and what stands beside par."""

from __future__ import annotations

from dataclasses import replace

import pytest

from blindfield.scoring.attempts import Attempt, Timed
from blindfield.scoring.trends import Trend, dig_trend, trends_of
from support.attempts import attempt, searched, series


def by_leg(attempts: list[Attempt]) -> dict[int | None, Trend]:
    return {trend.leg: trend for trend in trends_of(attempts)}


def test_each_leg_and_the_whole_by_kind_in_the_order_practised() -> None:
    runs = [
        *series([400.0, 420.0]),
        attempt(3, kind="single", targets=1, legs=(Timed(90.0),), whole=Timed(90.0)),
    ]
    kinds = [(trend.kind, trend.leg, trend.runs) for trend in trends_of(runs)]
    assert kinds == [("pair", 1, 2), ("pair", 2, 2), ("pair", None, 2), ("single", 1, 1)]


@pytest.mark.parametrize("changes", [{"outcome": "void"}, {"knows_places": True}])
def test_void_runs_and_those_who_know_the_places_are_left_out(changes: dict[str, object]) -> None:
    odd = replace(searched(9, 50.0), **changes)  # type: ignore[arg-type]
    assert trends_of([*series([400.0, 420.0]), odd]) == trends_of(series([400.0, 420.0]))


def test_interrupted_and_stopped_runs_are_in_it_as_cut() -> None:
    runs = [
        *series([400.0, 420.0, 380.0]),
        searched(4, 100.0, cut=True, outcome="interrupted"),
        searched(5, 700.0, cut=True, outcome="stopped"),
    ]
    whole = by_leg(runs)[None]
    assert (whole.runs, whole.cut) == (5, 2)
    assert whole.middle_s == 420.0  # of 380, 400, 420 and two that are longer
    assert whole.curve is not None
    assert whole.curve.cut == 2


def test_where_half_were_cut_there_is_no_median() -> None:
    runs = [searched(1, 400.0), searched(2, 700.0, cut=True)]
    assert by_leg(runs)[None].middle_s is None


def test_a_leg_that_was_not_felt_is_left_out_of_its_leg_only() -> None:
    runs = [attempt(1, legs=(None, Timed(150.0))), *series([400.0] * 2)[1:]]
    legs = by_leg(runs)
    assert (legs[1].runs, legs[2].runs) == (1, 2)


def test_beside_par_only_with_par() -> None:
    with_par = [
        replace(one, par_legs_s=(100.0, None), par_whole_s=200.0) for one in series([400.0] * 3)
    ]
    legs = by_leg(with_par)
    assert legs[1].over_par == pytest.approx(2.0, rel=0.05)
    assert legs[2].over_par is None
    assert legs[None].over_par == pytest.approx(2.0, rel=0.05)
    assert by_leg(series([400.0] * 3))[None].over_par is None


def test_digs_of_all_kinds_make_one_trend() -> None:
    assert dig_trend([]) is None
    made = dig_trend([Timed(200.0), Timed(180.0), Timed(150.0, cut=True)])
    assert made is not None
    assert (made.leg, made.runs, made.cut, made.middle_s) == (0, 3, 1, 200.0)
