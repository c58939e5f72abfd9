"""What can be set on a field, and what is said when something cannot."""

from __future__ import annotations

from dataclasses import replace

import pytest

from blindfield.drills.catalogue import DRILLS, drill_named
from blindfield.drills.draw import draw
from blindfield.drills.feasible import Ground, ground_of, nearest_feasible, sets_of, why_not
from blindfield.model.errors import NotReady
from blindfield.model.field import TargetState
from support.drill_fields import wide_field, wide_ground
from support.scenarios import small_field


def with_state(state: TargetState, *names: str) -> Ground:
    place = wide_field()
    targets = tuple(replace(t, state=state) if t.name in names else t for t in place.targets)
    return ground_of(replace(place, targets=targets))


def test_every_kind_can_be_set_on_a_good_field() -> None:
    ground = wide_ground()
    for drill in DRILLS.values():
        assert why_not(ground, drill, drill.work[0]) == "", drill.kind


def test_sets_hold_only_targets_that_lie_as_asked() -> None:
    ground = wide_ground()
    (close,) = sets_of(ground, drill_named("close_pair"), "search only").values()
    assert list(close) == [frozenset({"1", "2"})]
    (deep,) = sets_of(ground, drill_named("deep"), "search only").values()
    assert set(deep) == {frozenset({name}) for name in "247"}
    (out,) = sets_of(ground, drill_named("pair_out_of_range"), "search only").values()
    assert frozenset({"1", "8"}) in out
    assert frozenset({"1", "2"}) not in out


def test_the_range_of_the_searcher_decides() -> None:
    deaf, keen = wide_ground(range_m=15.0), wide_ground(range_m=80.0)
    drill = drill_named("pair_out_of_range")
    assert len(sets_of(deaf, drill, "search only")[2]) > len(
        sets_of(wide_ground(), drill, "search only")[2]
    )
    assert "range of 80 m does not hear" in why_not(keen, drill, "search only")


def test_a_drill_that_cannot_be_set_is_refused_with_the_nearest_that_can() -> None:
    with pytest.raises(NotReady, match=r"range of 40 m does not hear .*--drill pair\.$") as caught:
        draw(small_field(), drill_named("pair_out_of_range"), seed=1, time_limit_s=600)
    # Who reads it may be about to search: no name, no place, no distance of a target.
    told = str(caught.value).replace("2 targets", "").replace("40 m", "")
    assert not any(character.isdigit() for character in told)


def test_the_nearest_keeps_the_number_of_targets() -> None:
    ground = replace(wide_ground(), leave_out=frozenset("1"))  # no close pair any more
    drill = drill_named("close_pair_no_marking")
    near = nearest_feasible(ground, drill, "search only", DRILLS.values())
    assert near is not None
    assert near.targets == (2,)
    alone = ground_of(wide_field(targets=1))
    near = nearest_feasible(alone, drill, "search only", DRILLS.values())
    assert near is not None
    assert near.targets == (1,)
    assert nearest_feasible(ground_of(wide_field(targets=0)), drill, "search only", [drill]) is None


def test_what_was_dug_out_is_never_drawn() -> None:
    ground = with_state(TargetState.DUG_OUT, "3", "4")
    names = {name for s in sets_of(ground, drill_named("single"), "search only")[1] for name in s}
    assert names == set("125678")


def test_what_is_frozen_in_is_searched_and_not_dug() -> None:
    ground = with_state(TargetState.FROZEN_IN, *"1234567")
    single = drill_named("single")
    assert len(sets_of(ground, single, "search only")[1]) == 8
    assert list(sets_of(ground, single, "search and dig")[1]) == [frozenset("8")]
    assert "1 in place that may be dug" in why_not(ground, drill_named("pair"), "search and dig")


def test_targets_left_out_get_a_sheet_and_are_not_drawn() -> None:
    ground = replace(wide_ground(), leave_out=frozenset("12345"))
    for seed in range(20):
        scenario = draw(
            ground.place, drill_named("pair"), seed=seed, time_limit_s=600, ground=ground
        )
        assert {part.name for part in scenario.targets} == set("12345678")
        assert {part.name for part in scenario.in_play} <= set("678")


def test_too_deep_for_the_standard_is_for_deep_drills_only() -> None:
    ground = replace(wide_ground(), depth_band_m=(0.0, 0.8))
    names = {name for s in sets_of(ground, drill_named("single"), "search only")[1] for name in s}
    assert names == set("13568")
    assert len(sets_of(ground, drill_named("deep"), "search only")[1]) == 3
    shallow = replace(wide_ground(), depth_band_m=(0.0, 0.1))
    told = why_not(shallow, drill_named("single"), "search only")
    assert "has 0 in place at 0 to 0.1 m, and 8 at other depths (--band takes them in)." in told


def test_who_cannot_be_told_a_word_sends_from_the_start() -> None:
    ground = replace(wide_ground(), linked=frozenset("1"))
    for seed in range(20):
        scenario = draw(
            ground.place, drill_named("staggered"), seed=seed, time_limit_s=600, ground=ground
        )
        waits = [p.name for p in scenario.in_play if p.cues[0].trigger == "on_word"]
        assert waits == ["1"]
    deaf = replace(wide_ground(), linked=frozenset())
    assert "waits for a word" in why_not(deaf, drill_named("staggered"), "search only")
    assert why_not(deaf, drill_named("pair"), "search only") == ""


def test_work_that_a_drill_is_not_for_is_refused() -> None:
    assert "for dig only" in why_not(wide_ground(), drill_named("dig_only"), "search only")
    assert "not for dig only" in why_not(wide_ground(), drill_named("pair"), "dig only")
