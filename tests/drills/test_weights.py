"""The rule of the draw: least practised and weakest first, spaced, nothing recent."""

from __future__ import annotations

import pytest

from blindfield.drills.catalogue import DRILLS, drill_named
from blindfield.drills.history import Practice
from blindfield.drills.weights import freshness, kind_shares, need
from support.drill_fields import ALL_MET, history, past

TWO = (drill_named("single"), drill_named("drop_out"))


def test_need_falls_with_practice_and_with_success() -> None:
    assert need(Practice()) == pytest.approx(1.5)  # never tried: 2/2 + (1 - 1/2)
    seldom = need(Practice(tried=1, judged=1, met=1, ago=8))
    often = need(Practice(tried=9, judged=9, met=9, ago=8))
    badly = need(Practice(tried=9, judged=9, met=0, ago=8))
    assert need(Practice()) > seldom > often
    assert badly > often
    # 2/11 + (1 - 1/11), times 8/10
    assert badly == pytest.approx((2 / 11 + 10 / 11) * 0.8)


def test_the_kind_of_the_last_run_rests() -> None:
    assert need(Practice(tried=5, judged=5, met=0, ago=0)) == 0.0
    assert need(Practice(3, 3, 1, ago=1)) < need(Practice(3, 3, 1, ago=2))
    shares = kind_shares(TWO, "search only", history(past("single"), past("drop_out")))
    assert shares == {"single": 0.0, "drop_out": 1.0}


def test_one_kind_alone_may_come_again_at_once() -> None:
    shares = kind_shares(TWO[:1], "search only", history(past("single")))
    assert shares == {"single": 1.0}


def test_a_kind_waits_for_one_of_those_it_comes_after() -> None:
    drills = tuple(DRILLS.values())
    assert set(kind_shares(drills, "search only", history())) == {"single", "dig_only"}
    lost = history(past("single", "not_met"))
    assert "pair" not in kind_shares(drills, "search only", lost)
    won = kind_shares(drills, "search only", history(past("pair", "stopped"), past("single")))
    assert {"pair", "staggered", "drop_out"} <= won.keys()
    assert not {"pair_out_of_range", "surprise", "three"} & won.keys()
    assert set(kind_shares(drills, "search only", ALL_MET)) == set(DRILLS)


def test_a_kind_whose_forerunners_cannot_be_set_here_does_not_wait() -> None:
    three = (drill_named("single"), drill_named("three"))
    assert set(kind_shares(three, "search only", history())) == {"single", "three"}


def test_digging_is_practised_apart() -> None:
    known = history(past("single", "met", work="search and dig"), past("drop_out"))
    assert known.of("single", "search only").tried == 0
    assert known.of("single", "search and dig").tried == 1


def test_the_latest_half_is_not_welcome_and_often_is_less() -> None:
    last = {"a": 0, "b": 1, "c": 7, "d": 9}
    times = {"a": 1, "b": 1, "c": 3, "d": 1}
    weights = freshness("abcde", last, times)
    assert weights == {"a": 0.0, "b": 0.0, "c": 0.25, "d": 0.5, "e": 1.0}
    assert freshness("a", last, times) == {"a": 0.5}  # nothing else is left
    assert sum(w == 0.0 for w in freshness(range(40), {n: n for n in range(40)}, {}).values()) == 6


def test_runs_that_judge_nobody_count_as_tried() -> None:
    known = history(past("single", "void"), past("single", "interrupted"), past("single", "met"))
    single = known.of("single", "search only")
    assert (single.tried, single.judged, single.met, single.ago) == (3, 1, 1, 0)


def test_only_the_last_ten_judge() -> None:
    known = history(*[past("single", "not_met")] * 10, *[past("single", "met")] * 30)
    single = known.of("single", "search only")
    assert (single.tried, single.judged, single.met) == (40, 10, 0)


def test_other_fields_teach_the_kind_and_not_the_places() -> None:
    known = history(past("pair", "met", "1", "2", field="Alder Flat"), past("single", "met", "3"))
    assert known.of("pair", "search only").met == 1
    assert known.last_set == {frozenset("3"): 0}
    assert (known.runs, known.runs_here) == (2, 1)


def test_runs_of_who_knows_the_places_are_kept_apart() -> None:
    runs = (past("pair", "met", "1", "2", knows=True), past("pair", "not_met", "3", "4"))
    blind, knower = history(*runs), history(*runs, knows=True)
    assert blind.of("pair", "search only").met == 0
    assert knower.of("pair", "search only").met == 1
    assert blind.last_set == knower.last_set  # what was drawn was drawn, for either
