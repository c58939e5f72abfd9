"""Bringing targets home: the roll, the taped places, and the one that sends alone."""

from __future__ import annotations

import asyncio
import dataclasses
import math
from pathlib import Path
from typing import Any

import pytest

from blindfield.conduct.fetching import Fetching
from blindfield.conduct.roll import Roll
from blindfield.conduct.single import News, Single
from blindfield.conduct.state import HORN_CANNOT_START, HORN_FOUND
from blindfield.conduct.taped import WITHIN_95, chance_met, how_to_probe, radius_m
from blindfield.console.desk import open_desk
from blindfield.field.as_built import AsBuilt, as_built
from blindfield.links.keyfile import new_key, read_key
from blindfield.links.sim.field import sim_field_of
from blindfield.links.virtual_time import run_virtual
from blindfield.model.events import Event
from blindfield.model.field import Post, TargetState
from blindfield.physics.probing import SPIRAL_STEP_M, grid_detection
from blindfield.searcher.scene import PACK
from support.desks import bench
from support.one_sending import one_at_a_time
from support.scenarios import small_field

EPOCH = b"loopclok"
UTC = "2026-02-01T09:30:00.000000Z"
NAMES = ("1", "2", "3", "4", "5", "6")


def person(kind: str, **data: Any) -> Event:
    return Event(kind=kind, source="person", host_epoch=EPOCH, utc=UTC, data=data)


def built(*events: Event) -> AsBuilt:
    return as_built(small_field(6), events)


def order(roll: Roll) -> list[str]:
    """The names in the turn in which they would be fetched."""
    names = []
    while (one := roll.next()) is not None:
        names.append(one.name)
        roll.count_in(one.target, "by a person")
    return names


# The roll


def test_the_nearest_is_next_and_then_the_nearest_to_its_hole() -> None:
    assert order(Roll(built(), (25.0, 0.0), set(NAMES))) == ["6", "5", "4", "3", "2", "1"]
    assert order(Roll(built(), (0.0, 50.0), set(NAMES))) == ["1", "2", "3", "4", "5", "6"]
    between = Roll(built(), (19.0, 24.5), set(NAMES))  # beside number 3
    assert order(between)[0] == "3"


def test_the_person_stands_at_the_last_hole_not_at_the_start() -> None:
    """From the start number 3 is nearer than 2; from the hole of number 1 it is the other way."""
    places = {"1": (0.0, 10.0), "2": (0.0, 18.0), "3": (12.0, 0.0)}
    moved = [person("placed", device=n, x_m=x, y_m=y) for n, (x, y) in places.items()]
    assert order(Roll(as_built(small_field(3), moved), (0.0, 0.0), {"1", "2", "3"})) == [
        "1", "2", "3",
    ]  # fmt: skip
    skipping = Roll(as_built(small_field(3), moved), (0.0, 0.0), {"1", "2", "3"})
    skipping.leave(skipping.built.field.target_named("1"))
    assert order(skipping) == ["2", "3"]


def test_the_frozen_in_come_after_all_others_and_the_unheard_last() -> None:
    frozen = person("state", device="6", state="frozen in")
    roll = Roll(built(frozen), (36.0, 10.0), {"1", "3", "6"})
    assert order(roll) == ["3", "1", "6", "5", "4", "2"]
    assert roll.complete


def test_what_was_in_before_is_not_counted_again() -> None:
    roll = Roll(built(person("state", device="2", state="dug out")), (25.0, 0.0), set(NAMES))
    assert (len(roll.out), roll.before) == (5, ("2",))
    assert not roll.count_in(roll.built.field.target_named("2"), "by a person")
    assert roll.sentence() == "0 of 5 counted in (1 more were in before)."


def test_count_in_and_missing_always_make_the_count_out() -> None:
    roll = Roll(built(), (25.0, 0.0), set(NAMES))
    target = roll.built.field.target_named
    assert roll.count_in(target("4"), "by its tilt sensor")
    assert not roll.count_in(target("4"), "by a person")
    roll.leave(target("1"))
    assert {t.name for t in roll.missing} | set(roll.home) == set(NAMES)
    assert "1" not in order(dataclasses.replace(roll, home=dict(roll.home)))
    taken = roll.take_back()
    assert taken is not None
    assert taken.name == "4"
    assert len(roll.missing) == 6
    assert roll.take_back() is None


# The taped place


@pytest.mark.parametrize(("sigma_m", "out_m"), [(0.4, 0.98), (0.4, 0.5), (0.2, 0.5), (1.0, 1.0)])
def test_the_chance_told_lies_between_what_must_and_what_can_be_met(
    sigma_m: float, out_m: float
) -> None:
    """By the Rayleigh distribution: places within the circle are met as the grid detects, those
    farther off than strokes and pack together reach never."""

    def within(radius_m: float) -> float:
        return 1.0 - math.exp(-((radius_m / sigma_m) ** 2) / 2.0)

    told = chance_met(out_m, sigma_m)
    least = grid_detection(PACK, SPIRAL_STEP_M, SPIRAL_STEP_M) * within(out_m)
    most = within(out_m + SPIRAL_STEP_M / math.sqrt(2) + PACK.reach_m)
    assert least - 0.005 <= told <= most + 0.005


def test_the_first_round_of_an_unmeasured_place_holds_it_nineteen_times_in_twenty() -> None:
    assert math.exp(-(WITHIN_95**2) / 2) == pytest.approx(0.05)
    planned = built().target_named("1")
    assert chance_met(radius_m(planned), 0.4) > 0.95


def test_a_measured_place_is_probed_closely_and_a_planned_one_widely() -> None:
    measured = person("placed", device="1", x_m=6.4, y_m=35.2, sigma_m=0.25)
    here = built(measured, person("snow", change_m=0.2)).target_named("1")
    said = " ".join(how_to_probe(here))
    assert "6.4 m along the base line" in said
    assert "35.2 m up" in said
    assert "0.85 m deep (as measured; snow changed" in said
    assert "1.2 m deep. Leave the probe in" in said
    assert radius_m(here) == pytest.approx(0.612, abs=0.001)
    planned = built().target_named("1")
    assert "not measured" in how_to_probe(planned)[0]
    assert radius_m(planned) == pytest.approx(0.979, abs=0.001)
    back = built(measured, person("state", device="1", state="put back", depth_m=0.7))
    assert radius_m(back.target_named("1")) == pytest.approx(0.979, abs=0.001)


# What is told


def test_news_of_the_one_before_are_not_told_of_the_next(tmp_path: Path) -> None:
    told: list[str] = []

    async def main() -> None:
        async with bench(tmp_path) as b:
            single = Single(b.place, b.desk.crew, b.desk.media, b.desk.writer)
            await single.ready()
            roll = Roll(as_built(b.place, ()), (25.0, 0.0), set(NAMES))
            async with single.watched():
                task = asyncio.create_task(Fetching(single, roll, told.append).bring_home())
                await asyncio.sleep(30)
                assert single.sender == "6"
                for what in ("lost", "ended", "restarted", "back"):
                    single._news.put_nowait(News(what, "5"))
                await asyncio.sleep(30)
                assert (single.sender, b.sim.sending("6")) == ("6", True)
                single.type("stop")
                await task
            await single.finish()

    run_virtual(main())
    assert told[-1].startswith("6 sends")


def test_the_post_sounds_when_one_is_counted_and_when_someone_must_come(tmp_path: Path) -> None:
    posts = (Post("gate", bytes([9] * 8)),)
    place = dataclasses.replace(small_field(2, folder=tmp_path), posts=posts)
    new_key(place.key_path)
    told: list[str] = []

    async def main() -> None:
        sim = sim_field_of(place, read_key(place.key_path), seed=5)
        post = sim.devices["gate"].board
        async with open_desk(place, [sim.medium()]) as desk:
            single = Single(place, desk.crew, desk.media, desk.writer)
            await single.ready()
            roll = Roll(as_built(place, ()), (25.0, 0.0), {"1", "2"})
            async with single.watched():
                task = asyncio.create_task(Fetching(single, roll, told.append).bring_home())
                await asyncio.sleep(30)
                assert post.shown["horn"] == 0
                sim.lift("2")
                await asyncio.sleep(20)
                assert post.shown["horn"] == HORN_FOUND
                sim.cut_link("1")
                single.type("out")
                await asyncio.sleep(10)
                assert post.shown["horn"] == HORN_CANNOT_START  # it may still send
                single.type("off")
                await task
            await single.finish()
        sim.stop()
        assert one_at_a_time(sim)

    run_virtual(main())
    assert any("1 at 6 m, 35 m is NOT confirmed silent" in line for line in told)


def test_states_that_may_not_be_dug_are_the_frozen_in() -> None:
    """The roll leans on it."""
    lying = [state for state in TargetState if state.lies]
    assert [state for state in lying if not state.may_be_dug] == [TargetState.FROZEN_IN]
