"""Whole plans: how rich they are, what is told of them, plans over what lies."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from blindfield.field.labour import DEEP_M, Depths, Sweat
from blindfield.field.layouts import STARTERS
from blindfield.field.plan import Plan, plan, plan_as_given
from blindfield.field.plan_ground import Ground
from blindfield.field.plan_objective import Lying, Task, layouts_of
from blindfield.field.plan_search import Effort
from blindfield.field.plan_signals import Hearing, Layouts
from blindfield.field.problems import Kind, Problem
from blindfield.model.errors import ConfigError

GROUND = Ground()
QUICK = Effort(60, 1)
FEW = Effort(30, 1)


def task(new: int, **more: object) -> Task:
    return replace(Task(GROUND, GROUND.flags(4), new=new), **more)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def eight() -> Plan:
    return plan(task(8), seed=1, effort=QUICK)


def test_eight_targets_and_four_starts_give_sixty_problems_in_eight_kinds(eight: Plan) -> None:
    per_kind = eight.per_kind()
    assert len({(frozenset(one.order), one.order) for one in eight.problems}) >= 60
    assert sum(count >= 3 for count in per_kind.values()) >= 8
    assert sum(per_kind.values()) == len(eight.problems)


def test_the_objective_counts_each_problem_and_each_full_kind(eight: Plan) -> None:
    assert float(eight.terms.problems[0]) == len(eight.problems)
    filled = sum(min(count, 3) / 3 for count in eight.per_kind().values())
    assert float(eight.terms.kinds[0]) == pytest.approx(12.0 * filled)
    assert float(eight.terms.broken[0]) == 0


def test_targets_are_numbered_as_they_are_dug_and_keep_the_rules(eight: Plan) -> None:
    assert [hole.target.name for hole in eight.holes] == [str(n) for n in range(1, 9)]
    assert eight.targets == tuple(hole.target for hole in eight.holes)
    xy_m = np.array([(one.x_m, one.y_m) for one in eight.targets])
    apart_m = np.hypot(*np.moveaxis(xy_m[:, None] - xy_m, -1, 0))
    assert apart_m[np.triu_indices(8, 1)].min() >= 4.0
    assert sum(one.depth_m > DEEP_M for one in eight.targets) <= 4
    assert all(one.depth_m < 1.5 for one in eight.targets)


def test_the_sweat_is_that_of_the_holes_and_the_pegging(eight: Plan) -> None:
    assert eight.minutes == pytest.approx(10.0 + sum(hole.minutes for hole in eight.holes))


def test_the_same_seed_gives_the_same_plan() -> None:
    one, again, other = (plan(task(4), seed=seed, effort=FEW).targets for seed in (3, 3, 4))
    assert one == again
    assert one != other


def test_three_targets_give_thirteen_problems_at_most() -> None:
    # 3 alone, 3 pairs in 2 orders, 1 three in as many orders as there are starts
    made = plan(task(3), seed=1, effort=QUICK)
    assert len(made.problems) == 13
    assert len({one.order for one in made.problems}) == 13


def test_a_kind_that_cannot_be_made_says_why() -> None:
    far = plan(task(4, hearing=Hearing(60.0)), seed=1, effort=FEW)
    assert "72 m apart, this ground gives 68 m" in far.absent[Kind.PAIR_OUT]
    assert "cannot be made here" in far.absent[Kind.THREE_FAR]
    small = plan(task(2, separation_m=12.0, depths=Depths(0.8)), seed=1, effort=FEW)
    assert small.absent[Kind.THREE] == "needs 3 targets"
    assert "12 m apart" in small.absent[Kind.PAIR_CLOSE]
    assert small.absent[Kind.DEEP] == "depths here end at 0.7 m"
    level = plan(task(2, depths=Depths(deep=0)), seed=1, effort=FEW)
    assert level.absent[Kind.DEEP] == "no target may lie deep"


def test_a_short_range_makes_pairs_out_of_range() -> None:
    made = plan(task(4, hearing=Hearing(15.0)), seed=1, effort=FEW)
    assert made.per_kind()[Kind.PAIR_OUT] >= 2


def test_the_sweat_given_is_kept() -> None:
    tight = task(6, sweat=Sweat(2, 41.0))
    made = plan(tight, seed=1, effort=QUICK)
    assert made.minutes <= 41.0
    with pytest.raises(ConfigError, match="6 fit"):
        plan(replace(tight, new=7), seed=1, effort=FEW)


def test_no_deep_one_where_none_may_be() -> None:
    made = plan(task(4, depths=Depths(3.0, deep=0)), seed=2, effort=FEW)
    assert max(one.depth_m for one in made.targets) <= DEEP_M


@pytest.mark.parametrize("count", [0, -3, 17])
def test_a_number_of_targets_that_cannot_be_is_refused(count: int) -> None:
    with pytest.raises(ConfigError):
        plan(task(count), seed=1, effort=FEW)


def test_more_targets_than_the_ground_has_room_for_are_refused_with_how_many_fit() -> None:
    tiny = Ground(((0.0, 0.0), (6.0, 0.0), (6.0, 6.0), (0.0, 6.0)))
    with pytest.raises(ConfigError, match="4 fit"):
        plan(Task(tiny, tiny.flags(2), new=12), seed=1, effort=FEW)
    with pytest.raises(ConfigError, match="4 fit"):
        plan(Task(tiny, tiny.flags(2), new=5), seed=1, effort=FEW)


def test_any_simple_polygon_serves() -> None:
    bent = Ground(((0.0, 0.0), (50.0, 0.0), (50.0, 20.0), (20.0, 20.0), (20.0, 50.0), (0.0, 50.0)))
    made = plan(Task(bent, bent.flags(3), new=4), seed=1, effort=FEW)
    places = {tuple(place) for place in bent.places_m.tolist()}
    assert {(one.x_m, one.y_m) for one in made.targets} <= places


def lying(plan_made: Plan, **more: object) -> tuple[Lying, ...]:
    return tuple(replace(one, **more) for one in plan_made.targets)  # type: ignore[arg-type]


CROWDED = (
    Lying("spruce", 20.0, 20.0, 0.5, 0.0, 0.0),
    Lying("fir", 20.0, 26.0, 0.6, 0.0, 0.0),
    Lying("larch", 26.0, 20.0, 0.7, None, None, may_move=False),
)


def test_a_move_brings_just_the_problems_it_says() -> None:
    now = plan(task(0, lying=CROWDED), seed=1)
    assert now.holes == ()
    assert now.minutes == 0
    assert now.moves
    for move in now.moves:
        moved = replace(
            move.target,
            x_m=move.x_m,
            y_m=move.y_m,
            antenna_azimuth_deg=move.antenna_azimuth_deg,
            antenna_tilt_deg=move.antenna_tilt_deg,
        )
        then = plan(
            task(0, lying=tuple(moved if one == move.target else one for one in CROWDED)), seed=1
        )
        assert len(then.problems) - len(now.problems) == move.more
        fresh = {one.kind for one in then.problems} - {one.kind for one in now.problems}
        assert fresh == set(move.new_kinds)
        gained = (then.objective - float(then.terms.sweat[0])) - now.objective
        assert gained == pytest.approx(move.worth)
        assert move.worth >= 1.0


def test_of_a_crowd_the_best_move_brings_new_problems() -> None:
    best = plan(task(0, lying=CROWDED), seed=1).moves[0]
    assert best.more + len(best.new_kinds) > 0
    alone = float(task(0).sweat.target_minutes(np.array(best.target.depth_m)))
    assert best.minutes == pytest.approx(1.5 * alone)


def test_a_move_worth_too_little_is_not_told(monkeypatch: pytest.MonkeyPatch) -> None:
    worths = [move.worth for move in plan(task(0, lying=CROWDED), seed=1).moves]
    monkeypatch.setattr("blindfield.field.plan_moves.LEAST_WORTH", max(worths) + 0.1)
    assert plan(task(0, lying=CROWDED), seed=1).moves == ()


def test_what_is_frozen_in_is_not_to_be_moved() -> None:
    moves = plan(task(0, lying=CROWDED), seed=1).moves
    assert {move.target.name for move in moves} <= {"spruce", "fir"}
    assert [move.worth for move in moves] == sorted((move.worth for move in moves), reverse=True)


def test_new_ones_are_planned_round_what_lies() -> None:
    made = plan(task(3, lying=CROWDED), seed=1, names=("spare",), effort=FEW, with_moves=False)
    assert made.targets[:3] == CROWDED
    assert {hole.target.name for hole in made.holes} == {"spare", "1", "2"}
    assert len(made.problems) > len(plan(task(0, lying=CROWDED), seed=1).problems)
    for hole in made.holes:
        for one in CROWDED:
            apart_m = np.hypot(hole.target.x_m - one.x_m, hole.target.y_m - one.y_m)
            assert apart_m >= 4.0


def test_the_difficulty_handed_in_rates_every_problem() -> None:
    def by_depth(problem: Problem) -> float:
        return sum(problem.depth_m)

    made = plan(task(3), seed=1, difficulty=by_depth, effort=FEW)
    assert made.difficulties == tuple(sum(problem.depth_m) for problem in made.problems)


@pytest.mark.parametrize("turn", [1, -1])
def test_of_the_best_layouts_the_one_of_most_different_difficulty_is_taken(
    monkeypatch: pytest.MonkeyPatch, turn: int
) -> None:
    alike = (Lying("1", 20.0, 20.0, 0.5, 0.0, 0.0), Lying("2", 20.0, 32.0, 0.6, 0.0, 0.0))
    unlike = (replace(alike[0], x_m=2.0, y_m=2.0), replace(alike[1], x_m=45.0, y_m=41.0))
    both = [layouts_of(targets, GROUND) for targets in (alike, unlike)][::turn]
    offered = Layouts(*(np.concatenate(parts) for parts in zip(*both, strict=True)))
    monkeypatch.setattr("blindfield.field.plan.best_layouts", lambda *_: offered)
    made = plan(task(2), seed=1, difficulty=lambda problem: problem.shown_m[0])
    assert {(one.x_m, one.y_m) for one in made.targets} == {(2.0, 2.0), (45.0, 41.0)}


@pytest.mark.parametrize("count", STARTERS)
@pytest.mark.parametrize("people", [1, 2])
def test_starter_layouts_take_twenty_to_forty_minutes(count: int, people: int) -> None:
    starter = STARTERS[count]
    assert len(starter.targets) == count
    given = task(count, sweat=Sweat(people, 40.0), depths=Depths(1.0, deepest_m=0.9))
    made = plan_as_given(given, starter.targets)
    assert 20.0 <= made.minutes <= 40.0
    assert len(made.problems) >= {2: 4, 3: 13, 4: 30}[count]
    assert {(one.x_m, one.y_m, one.depth_m) for one in made.targets} == {
        (one.x_m, one.y_m, one.depth_m) for one in starter.targets
    }


def test_a_layout_that_breaks_the_rules_is_refused() -> None:
    with pytest.raises(ConfigError, match="breaks the rules"):
        plan_as_given(task(3), (*CROWDED[:2], replace(CROWDED[2], x_m=21.0)))
