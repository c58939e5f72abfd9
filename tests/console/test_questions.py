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
    assert f"NOT SILENT, or not known: {first} at {place}." in err
    assert re.search(r"By itself it is silent by \d\d:\d\d:\d\d at the latest", err)
    assert f"Confirmed silent: {', '.join(n for n in here.targets if n != first)}." in out
    assert second != first
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


def test_knocks_are_no_find(here: InProcess) -> None:
    """Neither on the screen nor in the record: the first blow is a blow, and sharp."""
    knocked = here.in_play("pair", 3)[0]

    async def knock() -> None:
        await here.until_sending()
        await asyncio.sleep(20)
        here.sim.knock(knocked)
        await asyncio.sleep(6)

    status, out, _ = here.run(*PAIR, script=knock)
    assert status == 0
    assert "Interrupted" in out
    told = json.loads(here.call("debrief", "--json")[1])
    assert told["finds"] == []
    standings = [s["standing"] for t in told["targets"] for s in t["strikes"]]
    assert standings
    assert set(standings) == {"knock"}
    assert "0 of 2 found" in here.call("debrief", "--list")[1]


def test_a_target_in_play_that_died_makes_a_run_not_met_void(here: InProcess) -> None:
    first, second = here.in_play("pair", 3)

    async def die() -> None:
        await here.until_sending()
        await asyncio.sleep(20)
        here.sim.probe(second)
        await asyncio.sleep(5)
        here.sim.devices[first].power_off()

    words = ("--drill", "pair", "--seed", "3", "--minutes", "1")
    status, out, err = here.run(*words, script=die)
    assert status == 3, err
    assert "Void." in out
    text = " ".join(out.split())
    assert "Whether every signal was there is not known." in text
    assert "A device is not heard. It may not be in play" in text


def test_the_key_is_asked_for_before_the_cautions(here: InProcess) -> None:
    here.place.key_path.unlink()
    here.answers()  # nothing may be asked
    status, _, err = here.call("run")
    assert status == 1
    assert "blindfield key new" in err


@pytest.mark.parametrize("countdown", ["2", "121", "nan"])
def test_a_countdown_out_of_range_is_refused(here: InProcess, countdown: str) -> None:
    status, _, err = here.run("--countdown", countdown)
    assert status == 1
    assert "3 to 120" in err


def test_the_clock_begins_when_it_was_said_to_begin(here: InProcess) -> None:
    async def look() -> None:
        await here.until_sending()
        began_s.append(asyncio.get_running_loop().time())
        signal.raise_signal(signal.SIGINT)

    began_s: list[float] = []
    for countdown in ("3", "60"):
        here.run(*PAIR, "--countdown", countdown, script=look)
        began_s.append(0.0)
    # until the first pulse of two targets: a second at most after the start
    assert 56 < began_s[2] - began_s[0] - 3 < 65


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
