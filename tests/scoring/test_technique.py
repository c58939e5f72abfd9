"""Technique before speed, praise, and who does what while others search."""

from __future__ import annotations

from collections import Counter

import pytest

from blindfield.model.errors import ConfigError
from blindfield.scoring.advise import HOLDS_RUNS
from blindfield.scoring.attempts import Attempt
from blindfield.scoring.review import review
from blindfield.scoring.rotation import MOST_PEOPLE, roles_of, rotation, rotation_table
from blindfield.scoring.standards import standard_named
from blindfield.scoring.steps import Circumstances
from blindfield.scoring.technique import praise, shows_clock, technique_holds
from blindfield.scoring.ticks import Tick

PEOPLE = ("Ana", "Bo", "Cem", "Dag", "Eli", "Fia", "Gro", "Hal")


def attempt(right: int, seen: int, outcome: str = "met") -> Attempt:
    return Attempt(
        number=1,
        run_id=b"12345678",
        utc="2026-02-01T09:00:00.000000Z",
        searcher="Ana",
        kind="pair",
        work="search only",
        outcome=outcome,  # type: ignore[arg-type]
        targets=2,
        steps_right=right,
        steps_seen=seen,
    )


def test_technique_holds_once_enough_was_seen_and_was_right() -> None:
    assert technique_holds([attempt(19, 20)] * HOLDS_RUNS)
    assert not technique_holds([attempt(19, 20)] * (HOLDS_RUNS - 1))
    assert not technique_holds([attempt(12, 20)] * HOLDS_RUNS)


def test_technique_that_nobody_saw_does_not_hold() -> None:
    assert not technique_holds([])
    assert not technique_holds([attempt(0, 0)] * 20)


def test_void_runs_say_nothing_of_technique() -> None:
    assert not technique_holds([attempt(20, 20, "void")] * HOLDS_RUNS)
    assert technique_holds([attempt(0, 20, "void"), *[attempt(20, 20)] * HOLDS_RUNS])


def test_only_technique_hides_the_clock() -> None:
    assert shows_clock(None)
    assert shows_clock(standard_named("three_strikes"))
    assert not shows_clock(standard_named("technique"))


def test_backing_up_is_praised_once_with_what_was_done_right() -> None:
    pair = Circumstances(targets=2)
    ticks = [
        Tick(step="bracketed", target="Larch", value="put right", run_s=80.0),
        Tick(step="backed_up", run_s=81.0),
        Tick(step="spiral", target="Larch", run_s=85.0),
    ]
    said = praise(review(pair, ticks, ("Larch", "Gully")))
    assert said == [
        "Well done: Smallest reading bracketed both ways (Larch): stopped, backed up, done right.",
        "Well done: stopped, backed up, done right.",
    ]
    assert praise(review(pair, ticks[2:], ("Larch", "Gully"))) == []
    missed = Tick(step="backed_up", value="missed")
    assert praise(review(pair, [missed], ("Larch", "Gully"))) == []


@pytest.mark.parametrize("count", range(1, len(PEOPLE) + 1))
@pytest.mark.parametrize("team", [False, True])
def test_everybody_has_every_task_equally_often(count: int, team: bool) -> None:
    if team and count < 2:
        with pytest.raises(ConfigError, match="Name from 2"):
            roles_of(count, team=True)
        return
    turns = rotation(PEOPLE[:count], team=team)
    assert len(turns) == count
    roles = Counter(roles_of(count, team=team))
    for turn in turns:
        assert Counter(turn.values()) == roles
    for name in PEOPLE[:count]:
        assert Counter(turn[name] for turn in turns) == roles


def test_alone_one_searches_and_the_others_wait_with_a_task() -> None:
    assert roles_of(1) == ("searcher",)
    assert roles_of(5) == ("searcher", "observer", "timer", "shoveller", "shoveller")


def test_a_team_has_a_leader_searchers_and_shovellers() -> None:
    assert roles_of(3, team=True) == ("leader", "searcher", "shoveller")
    assert Counter(roles_of(8, team=True)) == {
        "leader": 1,
        "searcher": 2,
        "observer": 1,
        "timer": 1,
        "shoveller": 3,
    }


def test_nobody_is_named_twice_and_no_crowd_is_laid_out() -> None:
    with pytest.raises(ConfigError, match="same name"):
        rotation(["Ana", "ana"])
    with pytest.raises(ConfigError, match=f"Name from 1 to {MOST_PEOPLE}"):
        rotation([])
    with pytest.raises(ConfigError, match="a rotation of 13"):
        roles_of(13)


def test_the_table_has_a_line_for_each_run() -> None:
    assert rotation_table(["Ana", "Bartholomew"]) == (
        "run  Ana       Bartholomew\n1    searcher  observer\n2    observer  searcher"
    )
