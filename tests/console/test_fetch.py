"""`blindfield fetch` on simulated targets, as it is typed: who sends, who is counted, what is told.

The small field has its start at (25, 0); targets 1, 2, 3 lie at (6, 35), (12, 30), (18, 25): the
nearest is 3, and from its hole 2, then 1.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterator

import pytest

from support.in_process import InProcess
from support.one_sending import (
    Hand,
    a_hand,
    commanding,
    dig,
    fetch,
    one_at_a_time,
    spells,
    states,
    still_lying,
    until_one_sends,
)


@pytest.fixture
def hand(monkeypatch: pytest.MonkeyPatch) -> Iterator[Hand]:
    with a_hand(monkeypatch) as found:
        yield found


def test_all_come_home_nearest_first_one_signal_at_a_time(here: InProcess, hand: Hand) -> None:
    status, out, err = fetch(here, "--by", "Zoë", script=lambda: dig(here, "3", "2", "1"))
    assert (status, err) == (0, "")
    assert [name for _, _, name in spells(here.sim)] == ["3", "2", "1"]
    assert one_at_a_time(here.sim)
    assert "3 of 3 counted in." in out
    assert "All 3 that were out are in." in out
    assert "Field checked, confirmed silent: 1, 2, 3." in out
    assert "Pits to fill or flag now: 3 at 18.0 m, 25.0 m; 2 at 12.0 m, 30.0 m" in out
    assert here.silent()
    kept = states(here)
    assert [(e.data["device"], e.data["state"]) for e in kept] == [
        ("3", "dug out"), ("2", "dug out"), ("1", "dug out"),
    ]  # fmt: skip
    assert {(e.data["author"], e.data["note"], e.run_id) for e in kept} == {
        ("Zoë", "by its tilt sensor", None)
    }
    assert still_lying(here) == []
    bursts = here.bursts()
    status, out, _ = fetch(here)
    assert status == 0
    assert "in already" in out
    assert here.bursts() == bursts


def test_it_starts_from_where_the_person_stands(here: InProcess, hand: Hand) -> None:
    async def one_then_stop() -> None:
        await until_one_sends(here, "1")
        await hand.types("stop")

    status, out, _ = fetch(here, "--from", "WEST flag", script=one_then_stop)
    assert status == 1
    assert [name for _, _, name in spells(here.sim)] == ["1"]
    assert out.count("MISSING") == 3
    assert here.silent()


def test_an_interrupted_fetch_is_silent_and_goes_on_later(here: InProcess, hand: Hand) -> None:
    async def press() -> None:
        await dig(here, "3")
        await until_one_sends(here, "2")
        commanding(asyncio.all_tasks()).cancel()

    status, out, _ = fetch(here, script=press)
    assert status == 130
    assert here.silent()
    assert "MISSING: 2." in out
    assert "MISSING: 1." in out
    assert "MISSING: 3." not in out
    status, out, _ = fetch(here, "--json", script=lambda: dig(here, "2", "1"))
    told = json.loads(out)
    assert status == 0
    assert (told["out"], told["in_before"]) == (["1", "2"], ["3"])
    assert told["counted_in"] == [
        {"name": "2", "means": "by its tilt sensor"},
        {"name": "1", "means": "by its tilt sensor"},
    ]
    assert told["missing"] == []
    assert one_at_a_time(here.sim)


# Counting by hand


def test_a_person_counts_in_at_the_terminal(here: InProcess, hand: Hand) -> None:
    async def type_them() -> None:
        await until_one_sends(here, "3")
        await hand.types("1", apart_s=10)
        await hand.types("1", "out", apart_s=10)
        await until_one_sends(here, "2")
        await hand.types("SKIP")

    status, out, _ = fetch(here, script=type_them)
    assert status == 1
    assert "1 is in, by a person. 1 of 3 counted in." in out
    assert "1 is counted already." in out
    assert "3 is in, by a person. 2 of 3 counted in." in out
    assert "MISSING: 2." in out
    assert [name for _, _, name in spells(here.sim)] == ["3", "2"]
    assert one_at_a_time(here.sim)
    assert still_lying(here) == ["2"]


def test_an_enter_that_comes_just_after_the_sensor_counts_nobody(
    here: InProcess, hand: Hand
) -> None:
    async def both_at_once() -> None:
        await dig(here, "3")
        await until_one_sends(here, "2")
        await hand.types("out")  # meant number 3, which its sensor had counted a moment before
        await asyncio.sleep(30)
        await hand.types("stop")

    status, out, _ = fetch(here, script=both_at_once)
    assert status == 1
    assert "3 is counted already. When 2 is out too, once more: out" in out
    assert still_lying(here) == ["1", "2"]


def test_undo_and_words_that_are_none(here: InProcess, hand: Hand) -> None:
    async def type_them() -> None:
        await until_one_sends(here, "3")
        await hand.types("undo", "skp", "17", "2", "undo", "stop", apart_s=3)

    status, out, _ = fetch(here, script=type_them)
    assert status == 1
    assert "Nothing was counted in this time." in out
    assert 'Did you mean "skip"?' in out
    assert '"17" is no target of this field' in out
    assert "2 is out again, and will have its turn. 0 of 3 counted in." in out
    assert [e.data["state"] for e in states(here)] == ["dug out", "in place"]
    assert still_lying(here) == ["1", "2", "3"]
