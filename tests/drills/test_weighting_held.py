"""What is practised least comes most often, and when a field has little left."""

from __future__ import annotations

from collections import Counter
from itertools import combinations

import pytest

from blindfield.drills.catalogue import drill_named
from blindfield.drills.choice import choose
from blindfield.drills.draw import draw
from blindfield.drills.feasible import ground_of
from blindfield.drills.outlook import USED_UP_GUESS
from support.drill_fields import history, outlook, past, wide_field

SINGLE, PAIR = drill_named("single"), drill_named("pair")
DRAWS = 200


def test_a_target_sent_often_comes_less_often_than_one_that_never_was() -> None:
    """1 and 2 were the latest, so 3 or 4 comes; 3 was drawn 9 times: 1 / (1 + 9) of 4's weight."""
    known = history(*(past("single", "met", name) for name in ("1", "2", *"3" * 9)))
    ground = ground_of(wide_field(targets=4))
    view = outlook(known, ground=ground, drills=(SINGLE,))
    sent: Counter[str] = Counter()
    for seed in range(DRAWS):
        choice = choose(view, seed=seed, drill=SINGLE)
        scenario = draw(ground.place, SINGLE, seed=choice.seed, time_limit_s=600, ground=ground)
        sent[scenario.in_play[0].name] += 1
    assert set(sent) == {"3", "4"}
    # a share of 1 / 11; 0.08 is 4 standard errors of 200 draws
    assert sent["3"] / DRAWS == pytest.approx(1 / 11, abs=0.08)


@pytest.mark.parametrize(("left", "used_up"), [(6, False), (5, True)])
def test_a_field_is_used_up_below_a_fifth_of_its_problems(left: int, used_up: bool) -> None:
    ground = ground_of(wide_field(targets=6))
    runs = [
        past("pair", "met", *pair, start=start.name)
        for pair in combinations("123456", 2)
        for start in ground.place.start_points
    ]
    views = (
        outlook(history(*runs[:count]), ground=ground, drills=(PAIR,)) for count in range(len(runs))
    )
    view = next(view for view in views if view.left == left)
    assert len(view.problems) == 30
    assert view.best_guess < USED_UP_GUESS  # it is not the guess that says so
    assert view.used_up == used_up
