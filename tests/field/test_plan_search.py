"""The objective, and whether the search finds its best."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from blindfield.field.labour import DEEP_M, Depths, Sweat
from blindfield.field.plan_ground import Ground
from blindfield.field.plan_objective import Lying, Task, layouts_of, terms_of, twins
from blindfield.field.plan_search import Coding, Effort, best_layouts, random_layouts
from blindfield.field.plan_signals import Layouts
from blindfield.field.problems import apart
from blindfield.model.errors import ConfigError

GROUND = Ground()
EIGHT = Task(GROUND, GROUND.flags(4), new=8)
WITHIN = 0.01  # of the exhaustive optimum
SEEDS = (1, 2)


def lying(*places: tuple[float, float, float]) -> tuple[Lying, ...]:
    return tuple(Lying(str(n), *place, 0.0, 0.0) for n, place in enumerate(places))


def worth(*places: tuple[float, float, float], **task: object) -> dict[str, float]:
    targets = lying(*places)
    made = replace(Task(GROUND, GROUND.flags(4), new=len(targets)), **task)  # type: ignore[arg-type]
    return {
        k: float(v[0]) for k, v in terms_of(made, layouts_of(targets, GROUND))._asdict().items()
    }


def drawn(task: Task, count: int, seed: int = 0) -> Layouts:
    coding = Coding(task)
    return coding.layouts(np.random.default_rng(seed).random((count, coding.size)))


def test_the_parts_add_up() -> None:
    terms = terms_of(EIGHT, drawn(EIGHT, 20))
    total = terms.problems + terms.kinds + terms.sweat + terms.room + terms.give_away + terms.broken
    assert terms.value == pytest.approx(total)


def test_every_layout_coded_lies_on_free_places_at_depths_in_use() -> None:
    keep_out = ((10.0, 10.0), (40.0, 10.0), (40.0, 40.0), (10.0, 40.0))
    ground = Ground(keep_outs_m=(keep_out,))
    task = Task(ground, ground.flags(2), depths=Depths(2.0, deep=2, deepest_m=1.5), new=6)
    layouts = drawn(task, 300)
    places = {tuple(place) for place in ground.places_m.tolist()}
    assert {tuple(place) for place in layouts.xy_m.reshape(-1, 2).tolist()} <= places
    assert set(layouts.depth_m.ravel().tolist()) <= set(task.depths.steps_m)
    deep = (layouts.depth_m > DEEP_M).sum(axis=1)
    assert deep.max() == 2
    assert np.linalg.norm(layouts.axis, axis=2) == pytest.approx(np.ones((300, 6)))


def test_rules_broken_cost_more_than_they_can_bring() -> None:
    near = worth((20.0, 20.0, 0.5), (22.0, 20.0, 0.6))
    assert near["broken"] == pytest.approx(-500.0 - 20.0 * 2.0)
    assert worth((20.0, 20.0, 0.5), (24.0, 20.0, 0.6))["broken"] == 0
    late = worth((20.0, 20.0, 0.5), (30.0, 20.0, 0.6), sweat=Sweat(2, 11.0))
    assert late["broken"] < 0
    deep = worth((20.0, 20.0, 1.0), (30.0, 21.0, 0.9), depths=Depths(deep=1))
    assert deep["broken"] == pytest.approx(-520.0)


def test_rules_hold_between_the_new_and_what_lies_not_among_the_lying() -> None:
    old = lying((20.0, 20.0, 1.0), (21.0, 20.0, 0.6))
    task = Task(GROUND, GROUND.flags(2), depths=Depths(deep=1), lying=old, new=1)
    assert task.deep_allowed == 0
    for x_m, depth_m, broken in ((30.0, 0.5, 0.0), (18.0, 0.5, -560.0), (30.0, 1.0, -520.0)):
        new = layouts_of((Lying("new", x_m, 20.0, depth_m, 0.0, 0.0),), GROUND)
        layouts = task.layouts(new.xy_m, new.depth_m, new.axis)
        assert float(terms_of(task, layouts).broken[0]) == pytest.approx(broken, abs=1e-3)


def test_what_gives_a_layout_away_is_counted() -> None:
    free = worth((10.0, 12.0, 0.4), (31.0, 18.0, 0.5), (19.0, 41.0, 0.6))
    assert free["give_away"] == 0
    line = worth((10.0, 12.0, 0.4), (20.0, 13.0, 0.5), (41.0, 15.0, 0.6))
    assert line["give_away"] == pytest.approx(-1.0)
    depths = worth((10.0, 12.0, 0.5), (31.0, 18.0, 0.5), (19.0, 41.0, 0.5))
    assert depths["give_away"] == pytest.approx(-1.5)
    mirrored = worth((10.0, 12.0, 0.4), (40.0, 12.0, 0.5), (15.0, 41.0, 0.6), (35.0, 41.0, 0.7))
    assert mirrored["give_away"] == pytest.approx(-2.0 * 2.0)


@pytest.mark.parametrize(
    ("places", "most"),
    [
        (((10.0, 12.0), (40.0, 12.0)), 2),  # left and right
        (((10.0, 12.0), (10.0, 38.0)), 2),  # up and down
        (((10.0, 12.0), (40.0, 38.0)), 2),  # about the middle
        (((10.0, 32.0), (32.0, 10.0)), 2),  # about a diagonal
        (((25.0, 40.0), (8.0, 19.0)), 1),  # one on an axis
        (((10.0, 19.0), (37.0, 21.0)), 0),
    ],
)
def test_mirror_images_are_found(places: tuple[tuple[float, float], ...], most: int) -> None:
    assert twins(GROUND, np.array([places])).tolist() == [most]


def test_more_sweat_is_worth_less_all_else_alike() -> None:
    shallow = worth((10.0, 12.0, 0.4), (31.0, 18.0, 0.5))
    deeper = worth((10.0, 12.0, 0.7), (31.0, 18.0, 0.8))
    minutes = EIGHT.sweat.target_minutes(np.array([0.4, 0.5, 0.7, 0.8]))
    assert shallow["problems"] == deeper["problems"]
    assert shallow["sweat"] - deeper["sweat"] == pytest.approx(
        0.25 * float(minutes[2:].sum() - minutes[:2].sum())
    )


def test_random_layouts_keep_every_rule() -> None:
    layouts, terms = random_layouts(EIGHT, 500, seed=4)
    assert layouts.xy_m.shape == (500, 8, 2)
    assert (terms.broken == 0).all()
    assert apart(layouts.xy_m).min() >= EIGHT.separation_m - 1e-6


def test_when_hardly_a_random_layout_keeps_the_rules_it_says_so(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("blindfield.field.plan_search._JUDGED_AT_ONCE", 2)
    crowded = replace(EIGHT, separation_m=20.0)
    with pytest.raises(ConfigError, match="random layouts keep the rules"):
        random_layouts(crowded, 10, seed=1)


def test_the_search_beats_the_best_of_many_random_layouts() -> None:
    task = Task(GROUND, GROUND.flags(4), new=5)
    for seed in range(2):
        _, random = random_layouts(task, 1000, seed)
        best = best_layouts(task, seed, Effort(150, 2), 1)
        terms = terms_of(task, best)
        assert terms.broken[0] == 0
        assert terms.value[0] > random.value.max()


def test_the_same_seed_gives_the_same_layouts_and_another_seed_others() -> None:
    task, effort = Task(GROUND, GROUND.flags(3), new=4), Effort(60, 2)
    one, again, other = (best_layouts(task, seed, effort, 3) for seed in (7, 7, 8))
    assert all(np.array_equal(a, b) for a, b in zip(one, again, strict=True))
    assert not np.array_equal(one.xy_m[0], other.xy_m[0])


def test_the_best_come_first_and_none_twice() -> None:
    task = Task(GROUND, GROUND.flags(3), new=3)
    found = best_layouts(task, 1, Effort(60, 2), 6)
    values = terms_of(task, found).value
    assert (np.diff(values) <= 0).all()
    rows = {
        tuple(np.concatenate([part[row].ravel() for part in found])) for row in range(len(values))
    }
    assert len(rows) == len(values)


def test_five_targets_on_a_coarse_lattice_come_within_1_per_cent_of_exhaustive_search() -> None:
    ground = Ground(pitch_m=12.0, edge_room_m=0.0)
    upright = ((0.0, 90.0),)
    task = Task(ground, ground.flags(4), depths=Depths(0.45), new=5, attitudes_deg=upright)
    chosen = np.array(list(combinations(range(len(ground.places_m)), 5)))
    best = max(_best_of(task, part) for part in np.array_split(chosen, len(chosen) // 2000))
    found = [terms_of(task, best_layouts(task, seed, Effort(150), 1)).value[0] for seed in SEEDS]
    assert len(chosen) > 20_000
    assert max(found) <= best + 1e-9
    assert min(found) >= (1.0 - WITHIN) * best


def _best_of(task: Task, chosen: np.ndarray[tuple[int, int], np.dtype[np.int64]]) -> float:
    """The most that sets of places are worth, all targets upright at the one depth."""
    xy_m = task.ground.places_m[chosen]
    axis = np.broadcast_to(np.array([0.0, 0.0, 1.0]), (*chosen.shape, 3))
    layouts = task.layouts(xy_m, np.full(chosen.shape, task.depths.steps_m[0]), axis)
    return float(terms_of(task, layouts).value.max())
