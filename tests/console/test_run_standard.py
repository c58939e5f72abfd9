"""A run made for a standard: what it sets, what the searcher sees, how the debrief judges it."""

from __future__ import annotations

import asyncio
import json
import re

import pytest

from blindfield.scoring.standards import WHO_DECIDES, shipped
from support.in_process import InProcess

TIMED = next(one for one in shipped().values() if one.limit_s and one.targets == 2 and one.digging)
TECHNIQUE = next(one for one in shipped().values() if one.technique)


async def find_all(here: InProcess, *, lift: bool = False) -> None:
    await here.until_sending()
    await asyncio.sleep(30)
    for name in here.targets:
        here.sim.probe(name)
        await asyncio.sleep(20)
        if lift:
            here.sim.lift(name)
            await asyncio.sleep(5)


def test_a_timed_standard_sets_the_limit_what_counts_and_the_kinds(here: InProcess) -> None:
    status, out, err = here.run(
        *("--standard", TIMED.name, "--seed", "4"), script=lambda: find_all(here, lift=True)
    )
    assert status == 0, err + out
    said = " ".join(out.split())
    assert f"Standard: {TIMED.name}." in said
    assert f"The time limit is {(TIMED.limit_s or 0) / 60:g} min" in said
    assert "a target counts as found when it is dug out" in said
    assert "Against the standard" in out
    assert said.count(WHO_DECIDES) == 1
    assert f"--standard {TIMED.name}" in said.partition("The same problem again")[2]
    told = json.loads(here.call("debrief", "--json")[1])
    assert told["standard"] == TIMED.name
    assert sum(target["in_play"] for target in told["targets"]) == TIMED.targets


def test_technique_shows_no_clock_and_blows_no_horn(
    here: InProcess, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    screens: list[str] = []

    async def look() -> None:
        await here.until_sending()
        await asyncio.sleep(70)
        screens.append(re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", here.seen()))
        await find_all(here, lift=TECHNIQUE.digging)

    status, _, err = here.run("--standard", TECHNIQUE.name, "--seed", "4", script=look)
    assert status == 0, err
    assert "Overtime" not in screens[0]
    (screen,) = screens
    assert "no clock" in screen
    assert "No clock: do each step right" in screen
    after = screen.partition("Go there.")[2]
    assert not re.search(r"\b[01]:[0-5]\d\b", after)
    assert json.loads(here.call("debrief", "--json")[1])["standard"] == TECHNIQUE.name


def test_an_unknown_standard_is_refused_with_the_nearest(here: InProcess) -> None:
    wrong = TIMED.name[:-1] + "x"
    status, _, err = here.run("--standard", wrong)
    assert status == 1
    assert TIMED.name in err
    assert here.bursts() == 0
