"""Questions at the terminal, and what stands on the screen at the end of a run."""

from __future__ import annotations

import asyncio
import json
import re
import signal

import pytest

from support.in_process import InProcess
from support.typed import Desk, at_a_terminal

PAIR = ("--drill", "pair", "--seed", "3", "--minutes", "5")


def test_a_target_that_cannot_be_reached_is_named_with_place_and_time(here: InProcess) -> None:
    first, second = here.in_play("pair", 3)

    async def lose_one() -> None:
        await here.until_sending()
        await asyncio.sleep(20)
        here.sim.cut_link(first)
        await asyncio.sleep(3)
        signal.raise_signal(signal.SIGINT)

    status, out, err = here.run(*PAIR, script=lose_one)
    assert status == 3  # outranks the 130 of Ctrl-C
    where = here.place.target_named(first)
    place = f"{where.x_m:g} m, {where.y_m:g} m"
    assert re.search(rf"{first} at {place} is NOT confirmed silent; it can send until \d\d:", out)
    assert f"Confirmed silent: {', '.join(n for n in here.targets if n != first)}." in out
    assert second != first
    assert "NOT confirmed silent" in err
    assert "blindfield rearm" in err  # silence went to all, as the last thing to try
    here.sim.mend_link(first)
    assert here.call("devices")[0] == 0
    assert here.silent()
    assert silenced(here) == here.targets  # told by its neighbours over the air


@pytest.mark.parametrize("command", ["run", "rearm"])
def test_the_end_of_input_at_a_question_is_a_no(desk: Desk, command: str) -> None:
    with at_a_terminal(desk, command) as terminal:
        terminal.until("Type yes:")
        terminal.type("\x04")
        terminal.until("confirmed" if command == "run" else "nobody said")
        assert terminal.process.wait(timeout=10) == 1
        assert "Traceback" not in terminal.seen


@pytest.mark.parametrize(
    ("typed", "started"),
    [
        (("yes",), True),
        (("Y",), True),
        (("yse", "yes"), True),
        (("no",), False),
        (("",), False),
        (("yse", "yed"), False),
    ],
)
def test_cautions_are_confirmed_by_yes_and_by_nothing_else(
    here: InProcess, typed: tuple[str, ...], started: bool
) -> None:
    here.answers(*typed)

    async def stop() -> None:
        await here.until_sending()
        signal.raise_signal(signal.SIGINT)

    status, _, err = here.call("run", *PAIR, script=stop)
    assert (status == 130) == started
    assert (here.bursts() > 0) == started
    assert ("not confirmed" in err) == (not started)


@pytest.mark.parametrize(
    ("said", "stays_silent"), [("f", False), ("s", False), ("e", True), ("", True)]
)
def test_the_answer_to_a_knock_decides_what_becomes_of_its_silence(
    here: InProcess, said: str, stays_silent: bool
) -> None:
    here.answers(said)
    status, out, _ = here.run(*PAIR, script=lambda: find_one_and_knock(here))
    assert status == 0
    assert ("The field stays silent until" in out) == stays_silent
    assert silenced(here) == (["1", "2", "3"] if stays_silent else [])
    assert here.silent()


def test_the_answer_to_a_knock_lifts_no_silence_of_somebody_else(here: InProcess) -> None:
    def silence_first() -> str:
        status, out, err = here.call("silence", "--json")
        assert status == 0, err
        assert json.loads(out)["silent"] == ["1", "2", "3"]
        return "f"

    here.answers(silence_first)
    status, out, _ = here.run(*PAIR, script=lambda: find_one_and_knock(here))
    assert status == 0
    assert out.count("not ready for the next run") == 3
    assert silenced(here) == ["1", "2", "3"]


def test_a_knock_read_by_a_program_asks_nothing_and_stays_silent(here: InProcess) -> None:
    status, out, _ = here.run("--json", *PAIR, script=lambda: find_one_and_knock(here))
    assert status == 0
    assert json.loads(out)["outcome"] == "stopped"
    assert silenced(here) == ["1", "2", "3"]


async def find_one_and_knock(here: InProcess) -> None:
    found = here.in_play("pair", 3)[0]
    await here.until_sending()
    await asyncio.sleep(20)
    here.sim.probe(found)
    await asyncio.sleep(10)
    here.sim.knock(found)
    await asyncio.sleep(4)


def silenced(here: InProcess) -> list[str]:
    report = json.loads(here.call("devices", "--json")[1])
    return [row["name"] for row in report["devices"] if row["silenced"]]
