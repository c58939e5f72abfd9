"""Whole runs of the kinds that need more than signals from the start, on simulated devices."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest

from blindfield.conduct.conductor import Conductor
from blindfield.model.event_kinds import Source
from blindfield.model.messages import SHEET_BYTES
from blindfield.model.scenario import Scenario
from support.conducting import conduct, kinds, strike
from support.desks import Bench

UNLIKE = ("single", "drop_out", "surprise", "dig_only")  # in what their sheets hold
LIMIT_S = 90.0


async def says(conductor: Conductor, kind: str, **data: Any) -> None:
    person: Source = "person"
    await conductor.recorder.say(kind, person, **data)


def sends_s(events: list[Any], name: str, kind: str = "sends") -> list[float]:
    """Run times at which a target began to send, or to rest."""
    start = next(e for e in events if e.kind == "started_all").data["start_host_s"][1]
    return [e.host_s.best - start for e in kinds(events, kind) if e.data["device"] == name]


def test_the_second_signal_comes_on_the_instructors_word(tmp_path: Path) -> None:
    second = ""

    async def acts(b: Bench, conductor: Conductor, scenario: Scenario) -> None:
        nonlocal second
        second = next(p.name for p in scenario.in_play if p.cues[0].trigger == "on_word")
        await asyncio.sleep(20)
        await says(conductor, "word_asked")
        await asyncio.sleep(5)
        for part in scenario.in_play:
            await strike(b, part.name)

    summary, events, _ = conduct(tmp_path, acts, kind="surprise", limit_s=LIMIT_S)
    assert summary.outcome == "met"
    (begun_s,) = sends_s(events, second)
    assert begun_s == pytest.approx(20.0, abs=0.5)
    (said,) = kinds(events, "word_sent")
    assert said.data["cause"] == "instructor"
    assert said.data["acknowledged"] is True


def test_the_second_signal_comes_by_itself_where_nobody_says_the_word(tmp_path: Path) -> None:
    planned: dict[str, float] = {}

    async def acts(b: Bench, conductor: Conductor, scenario: Scenario) -> None:
        waits = next(p for p in scenario.in_play if p.cues[0].trigger == "on_word")
        planned[waits.name] = waits.cues[0].time_s or 0.0
        await asyncio.sleep(planned[waits.name] + 5.0)
        for part in scenario.in_play:
            await strike(b, part.name)

    _, events, _ = conduct(tmp_path, acts, kind="surprise", limit_s=LIMIT_S)
    ((name, at_s),) = planned.items()
    assert sends_s(events, name) == [pytest.approx(at_s, abs=0.2)]


def test_a_signal_drops_out_in_the_air_and_comes_back(tmp_path: Path) -> None:
    name, plan = "", [0.0, 0.0]

    async def acts(b: Bench, conductor: Conductor, scenario: Scenario) -> None:
        nonlocal name, plan
        (part,) = scenario.in_play
        name, plan = part.name, [part.cues[1].time_s or 0.0, part.cues[2].time_s or 0.0]
        await asyncio.sleep(plan[0] + 1.5)
        assert not b.sim.sending(name)
        quiet = len(b.sim.carrier_log(name))
        await asyncio.sleep(plan[1] - plan[0] - 3.0)
        assert len(b.sim.carrier_log(name)) == quiet
        await asyncio.sleep(4.0)
        assert len(b.sim.carrier_log(name)) > quiet
        await strike(b, name)

    summary, events, _ = conduct(tmp_path, acts, kind="drop_out", limit_s=LIMIT_S)
    assert summary.outcome == "met"
    assert sends_s(events, name, "rests")[0] == pytest.approx(plan[0], abs=0.2)
    assert sends_s(events, name)[1] == pytest.approx(plan[1], abs=0.2)


def test_a_late_first_signal_is_late_in_the_air(tmp_path: Path) -> None:
    async def acts(b: Bench, conductor: Conductor, scenario: Scenario) -> None:
        (part,) = scenario.in_play
        begins_s = part.cues[0].time_s or 0.0
        await asyncio.sleep(begins_s - 2.0)
        assert not any(b.sim.carrier_log(target.name) for target in b.place.targets)
        await asyncio.sleep(4.0)
        assert b.sim.carrier_log(part.name)
        await strike(b, part.name)

    assert conduct(tmp_path, acts, kind="late_first", limit_s=LIMIT_S)[0].outcome == "met"


def test_clearing_the_rest_goes_on_after_the_find(tmp_path: Path) -> None:
    async def acts(b: Bench, conductor: Conductor, scenario: Scenario) -> None:
        await asyncio.sleep(20)
        await strike(b, scenario.in_play[0].name)
        await asyncio.sleep(20)
        assert conductor.state.phase == "running"
        await says(conductor, "done", by="searcher")

    summary, events, _ = conduct(tmp_path, acts, kind="one_only", limit_s=LIMIT_S)
    assert (summary.outcome, summary.found, summary.targets) == ("met", 1, 1)
    assert len(kinds(events, "done")) == 1


def test_digging_only_nobody_sends_and_done_ends_it(tmp_path: Path) -> None:
    async def acts(b: Bench, conductor: Conductor, scenario: Scenario) -> None:
        await asyncio.sleep(60)
        assert not any(b.sim.carrier_log(target.name) for target in b.place.targets)
        await says(conductor, "done", by="searcher")

    summary, events, _ = conduct(tmp_path, acts, kind="dig_only", limit_s=LIMIT_S)
    assert (summary.outcome, summary.work, summary.sent) == ("met", "dig only", ())
    assert summary.find_run_s[0].best == pytest.approx(60.0, abs=1.0)
    assert kinds(events, "sends") == []


@pytest.mark.parametrize("kind", UNLIKE)
def test_whatever_the_kind_every_target_is_loaded_alike(tmp_path: Path, kind: str) -> None:
    """Over the wire: the same requests, of the same lengths, to each target."""
    asked: dict[str, list[tuple[Any, ...]]] = {}

    async def acts(b: Bench, conductor: Conductor, scenario: Scenario) -> None:
        await says(conductor, "stop", by="searcher")

    with pytest.MonkeyPatch.context() as patch:
        from blindfield.conduct.crew import Member

        original = Member.ask

        async def ask(member: Member, message: str, *fields: Any) -> Any:
            if message in ("load", "commit", "start"):
                sizes = tuple(len(f) for f in fields if isinstance(f, bytes))
                asked.setdefault(member.name, []).append((message, sizes))
            return await original(member, message, *fields)

        patch.setattr(Member, "ask", ask)
        conduct(tmp_path, acts, kind=kind)
    assert set(asked) == set("123456")
    assert len({tuple(rows) for rows in asked.values()}) == 1
    loads = [sizes[0] for message, sizes in asked["1"] if message == "load"]
    assert sum(loads) == SHEET_BYTES
