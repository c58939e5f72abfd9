"""What is laid out next: weakest first, technique before speed, within the time there is."""

from __future__ import annotations

from statistics import median

import pytest

from blindfield.model.errors import NotReady
from blindfield.scoring.advise import BETWEEN_S, Done, Sitting, Way, advise, holds
from blindfield.scoring.counts import NO_STEPS, Count, Steps
from support.weak_kinds import Weak, advised, at_random, in_turn, runs_until_ready

GOOD = Steps(40, 42, 5)
WAYS = [
    Way(kind=kind, title=kind.title(), run_s=360.0, after=after)
    for kind, after in (
        ("single", ()),
        ("pair", ("single",)),
        ("overlap", ("pair",)),
        ("three", ("pair",)),
    )
]


def done(runs: int, met: int, **more: object) -> Done:
    values = {"steps": GOOD, "ever_met": met > 0, **more}
    return Done(runs=runs, count=Count(met, runs), **values)  # type: ignore[arg-type]


PAST = {"single": done(9, 9), "pair": done(8, 6), "overlap": done(6, 1), "three": done(6, 4)}


def plan(**changes: object) -> Sitting:
    values = {"ways": WAYS, "done": PAST, "technique": GOOD, "minutes": 60.0, **changes}
    ways, past = values.pop("ways"), values.pop("done")
    return advise(ways, past, **values)  # type: ignore[arg-type]


def test_the_weakest_comes_first_and_no_kind_fills_the_sitting() -> None:
    blocks = plan().blocks
    assert blocks[0].way.kind == "overlap"
    assert max(block.runs for block in blocks) <= 3
    assert len(blocks) >= 2


def test_the_same_past_gives_the_same_sitting() -> None:
    assert plan() == plan()


def test_it_fits_the_time() -> None:
    for minutes in (12.0, 30.0, 61.0, 200.0):
        sitting = plan(minutes=minutes)
        assert sitting.seconds <= 60 * minutes
        assert sitting.seconds == sum(block.seconds for block in sitting.blocks)


def test_too_short_a_time_says_what_the_shortest_takes() -> None:
    with pytest.raises(NotReady, match="10 min"):
        plan(minutes=9.0)
    with pytest.raises(NotReady, match="20 min"):
        plan(minutes=15.0, people=2)


def test_people_take_turns_and_roles() -> None:
    sitting = plan(people=3, minutes=90.0)
    assert sitting.turns == 3
    assert sitting.roles == ("observer", "timer")
    assert sum(block.runs for block in sitting.blocks) == int(30 * 60 // (360 + BETWEEN_S))
    assert plan(people=9, minutes=120.0).roles == ("observer", "timer", "shoveller")
    assert plan().roles == ()


def test_no_clock_before_technique_holds() -> None:
    for steps in (NO_STEPS, Steps(10, 20, 5), Steps(20, 20, 2)):
        assert not holds(steps)
        past = {kind: done(6, 4, steps=NO_STEPS) for kind in PAST}
        assert {block.mode for block in plan(done=past, technique=steps).blocks} == {"technique"}
    assert {block.mode for block in plan().blocks} == {"timed"}


def test_a_kind_never_tried_or_with_steps_missed_is_without_a_clock_and_comes_before() -> None:
    past = {**PAST, "three": done(6, 1, steps=Steps(5, 12, 3))}
    modes = [(block.way.kind, block.mode) for block in plan(done=past).blocks]
    assert ("three", "technique") in modes
    assert [mode for _, mode in modes] == sorted(mode for _, mode in modes)
    fresh = {"single": done(9, 9), "pair": done(8, 6)}
    assert {b.way.kind: b.mode for b in plan(done=fresh).blocks}["overlap"] == "technique"


def test_a_kind_waits_until_one_before_it_was_met() -> None:
    kinds = {block.way.kind for block in plan(done={}).blocks}
    assert kinds == {"single"}
    only = {"single": done(4, 4)}
    assert {block.way.kind for block in plan(done=only, minutes=300).blocks} <= {"single", "pair"}
    alone = [way for way in WAYS if way.kind == "overlap"]
    assert plan(ways=alone, done={}).blocks[0].way.kind == "overlap"


def test_nobody_gives_the_word_to_somebody_alone() -> None:
    word = [Way(kind="surprise", title="Surprise", run_s=360.0, needs_word=True)]
    with pytest.raises(NotReady, match="no drill"):
        plan(ways=word, done={})
    assert plan(ways=word, done={}, people=2).blocks


def test_to_dig_takes_longer_and_less_with_more_hands() -> None:
    holes = [Way(kind="pair", title="Pair", run_s=360.0, holes=2)]
    one = plan(ways=holes, minutes=200.0).blocks[0]
    two = plan(ways=holes, minutes=200.0, people=2).blocks[0]
    assert two.seconds / two.runs < one.seconds / one.runs


def test_weak_kinds_are_ready_sooner_than_by_chance() -> None:
    """The reduced form of `tests/benchmarks/next.py`; the chance that it fails by bad luck was
    looked at over disjoint groups of as many learners there."""
    seeds = range(1000, 1050)
    chance = median(runs_until_ready(Weak(seed), at_random(seed)) for seed in seeds)
    turn = median(runs_until_ready(Weak(seed), in_turn) for seed in seeds)
    said = median(runs_until_ready(Weak(seed), advised) for seed in seeds)
    assert said <= 0.85 * chance
    assert said < turn
