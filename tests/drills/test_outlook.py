"""What is left for a searcher, and what knowing the places is worth."""

from __future__ import annotations

from itertools import combinations

import pytest

from blindfield.drills.catalogue import DRILLS, drill_named
from blindfield.drills.feasible import ground_of
from support.drill_fields import ALL_MET, history, outlook, past, wide_field

SINGLE, PAIR = drill_named("single"), drill_named("pair")


def test_a_problem_is_a_set_and_an_order() -> None:
    view = outlook(ground=ground_of(wide_field(targets=3)), drills=(SINGLE, PAIR))
    sets = {chosen for chosen, _ in view.problems}
    assert sets == {frozenset(s) for n in (1, 2) for s in combinations("123", n)}
    for chosen, order in view.problems:
        assert frozenset(order) == chosen
    assert 6 <= len(view.problems) <= 9  # a pair gives one problem or two


def test_eight_targets_and_four_starts_give_many_problems_of_many_kinds() -> None:
    view = outlook(ALL_MET)
    assert len(view.problems) >= 60
    assert sum(kind.problems >= 3 for kind in view.kinds()) >= 8


def test_what_was_met_is_not_left() -> None:
    ground = ground_of(wide_field(targets=3))
    fresh = outlook(ground=ground, drills=(SINGLE,))
    assert (len(fresh.problems), fresh.left) == (3, 3)
    met = outlook(history(past("pair", "met", "2")), ground=ground, drills=(SINGLE,))
    assert met.left == 2
    assert [kind.left for kind in met.kinds()] == [2]
    gone = outlook(history(past("pair", "met", "9")), ground=ground, drills=(SINGLE,))
    assert gone.left == 3  # a target that lies here no more


def test_a_start_that_gives_another_order_is_another_problem() -> None:
    ground = ground_of(wide_field(targets=8))
    met = outlook(history(past("pair", "met", "3", "7")), ground=ground, drills=(PAIR,))
    orders = {order for chosen, order in met.problems if chosen == frozenset("37")}
    assert orders == {("3", "7"), ("7", "3")}
    assert met.left == len(met.problems) - 1


def test_knowing_is_no_use_on_a_fresh_field_of_equals() -> None:
    view = outlook(ground=ground_of(wide_field(targets=4)), drills=(PAIR,))
    assert view.best_guess == pytest.approx(1 / 6)
    assert view.chance == pytest.approx(1 / 6)
    assert view.guess_advantage == pytest.approx(1.0)
    assert not view.used_up


def test_knowing_what_was_drawn_is_worth_what_is_left_out() -> None:
    # Of the 4 single targets 2 were drawn of late: only 2 can come, each half of the time.
    known = history(past("single", "met", "1"), past("single", "met", "2"))
    view = outlook(known, ground=ground_of(wide_field(targets=4)), drills=(SINGLE,))
    assert view.best_guess == pytest.approx(0.5)
    assert view.chance == pytest.approx(0.25)
    assert view.guess_advantage == pytest.approx(2.0)


def test_knowing_the_places_is_worth_more_where_few_lie_as_asked() -> None:
    view = outlook(
        history(past("close_pair", "met", "1", "2")), drills=(drill_named("close_pair"),)
    )
    assert view.best_guess == pytest.approx(1.0)  # the one close pair of the field
    assert view.used_up


def test_a_field_is_used_up_when_few_problems_are_left() -> None:
    ground = ground_of(wide_field(targets=5))
    starts = [start.name for start in ground.place.start_points]
    pairs = list(combinations("12345", 2))
    met = [past("pair", "met", *pair, start=start) for pair in pairs for start in starts]
    few = outlook(history(*met[: len(starts) * 3]), ground=ground, drills=(PAIR,))
    assert not few.used_up
    all_met = outlook(history(*met), ground=ground, drills=(PAIR,))
    assert all_met.left == 0
    assert all_met.used_up


def test_nothing_to_draw_is_not_used_up() -> None:
    view = outlook(ground=ground_of(wide_field(targets=0)))
    assert (len(view.problems), view.guess_advantage, view.used_up) == (0, 1.0, False)


def test_the_page_lists_every_kind_with_its_reason() -> None:
    kinds = {
        kind.drill.kind: kind for kind in outlook(ground=ground_of(wide_field(targets=2))).kinds()
    }
    assert list(kinds) == list(DRILLS)
    assert "needs 3 targets" in kinds["three"].reason
    assert kinds["single"].reason == ""
    assert sum(kind.share for kind in kinds.values()) == pytest.approx(1.0)
