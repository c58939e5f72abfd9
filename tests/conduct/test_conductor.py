"""Whole runs on simulated devices that carry the real core, on virtual time."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest

from blindfield.conduct.conductor import Conductor
from blindfield.conduct.state import replay, summary_of
from blindfield.links.virtual_time import run_virtual
from blindfield.model.scenario import Scenario
from support.conducting import conduct, find_both, kinds, off_its_place_s, strike
from support.desks import Bench, begun, bench, in_order, resting


def test_two_finds_are_timed_truly_and_the_run_is_met(tmp_path: Path) -> None:
    truth: dict[str, float] = {}

    async def acts(b: Bench, conductor: Conductor, scenario: Scenario) -> None:
        await find_both(b, conductor, scenario)
        start = conductor.state.start_s
        assert start is not None
        assert start.best is not None
        for name in in_order(scenario):
            contact_s = b.sim.contact_s(name)
            assert contact_s is not None
            truth[name] = contact_s - start.best

    summary, events, b = conduct(tmp_path, acts)
    assert (summary.outcome, summary.found, summary.targets) == ("met", 2, 2)
    sharp = summary.find_run_s[0]
    true_s = sorted(truth.values())[0]
    assert sharp.low - 0.002 <= true_s <= sharp.high + 0.002  # the detector's own onset error
    rebuilt = summary_of(replay(events), ended_utc=summary.ended_utc)
    assert rebuilt == summary
    assert b.desk.logbook is not None


def test_the_second_signal_starts_on_the_first_find(tmp_path: Path) -> None:
    summary, events, b = conduct(tmp_path, find_both)
    scenario = replay(events).scenario
    assert scenario is not None
    first, second = in_order(scenario)
    found_s = next(e.host_s for e in kinds(events, "strike") if e.data["device"] == first)
    assert found_s is not None
    log = b.sim.carrier_log(second)
    assert log
    assert 0 < log[0][0] - (found_s.best or 0) < 1.5
    assert summary.outcome == "met"


def test_pulses_of_each_target_keep_their_places_for_the_whole_run(tmp_path: Path) -> None:
    _, events, b = conduct(tmp_path, find_both)
    state = replay(events)
    assert state.scenario is not None
    assert state.start_s is not None
    for part in state.scenario.in_play:
        for start_s, periods, _ in b.sim.carrier_log(part.name):
            assert off_its_place_s(start_s, state, part) < 0
            assert abs(periods / 457e3 - part.on_us / 1e6) < 1e-4


def test_targets_not_in_play_never_send(tmp_path: Path) -> None:
    _, events, b = conduct(tmp_path, find_both)
    scenario = replay(events).scenario
    assert scenario is not None
    for part in scenario.targets:
        assert bool(b.sim.carrier_log(part.name)) == part.in_play


def test_every_device_gets_the_same_number_of_frames_up_to_the_start(tmp_path: Path) -> None:
    counts: dict[str, int] = {}

    async def main() -> None:
        async with bench(tmp_path) as b:
            conductor, scenario = await b.prepared()
            for member in b.desk.crew.targets:
                send = member.client.channel.send
                counts[member.name] = 0

                def counted(
                    body: bytes, address: int = 1, *, name: str = member.name, send: Any = send
                ) -> float:
                    counts[name] += 1000 + len(body)
                    result: float = send(body, address)
                    return result

                member.client.channel.send = counted  # type: ignore[method-assign]
            task = await begun(conductor, scenario)
            assert len({count // 1000 for count in counts.values()}) == 1, counts
            # A clock's reading may take a byte more than another's; nothing else differs.
            assert max(counts.values()) - min(counts.values()) <= 8, counts
            task.cancel()
            with pytest.raises(asyncio.CancelledError):
                await task

    run_virtual(main())
    assert min(counts.values()) > 5000


def test_strikes_after_the_limit_are_overtime_and_the_signals_go_on(tmp_path: Path) -> None:
    async def acts(b: Bench, conductor: Conductor, scenario: Scenario) -> None:
        first, second = in_order(scenario)
        await asyncio.sleep(60)
        await strike(b, first)
        await asyncio.sleep(150)
        assert conductor.state.phase == "overtime"
        assert b.sim.carrier_log(second)[-1][0] > asyncio.get_running_loop().time() - 1.5
        await strike(b, second)

    summary, _, _ = conduct(tmp_path, acts, limit_s=180.0)
    assert (summary.outcome, summary.found) == ("not_met", 2)
    assert summary.find_run_s[1].low > 180


def test_nobody_strikes_and_the_run_ends_by_its_sheets(tmp_path: Path) -> None:
    async def acts(b: Bench, conductor: Conductor, scenario: Scenario) -> None:
        await asyncio.sleep(1)

    summary, _, b = conduct(tmp_path, acts, limit_s=60.0)
    assert (summary.outcome, summary.found) == ("not_met", 0)
    for name in "123456":
        assert all(row[0] < 1e9 for row in b.sim.carrier_log(name))


def test_dug_out_ends_a_digging_run(tmp_path: Path) -> None:
    async def acts(b: Bench, conductor: Conductor, scenario: Scenario) -> None:
        for name in in_order(scenario):
            await asyncio.sleep(40)
            await strike(b, name)
            await asyncio.sleep(60)
            b.sim.lift(name)
            await asyncio.sleep(10)

    summary, events, _ = conduct(tmp_path, acts, end_on="dug_out")
    assert (summary.outcome, summary.found) == ("met", 2)
    assert len(kinds(events, "dug_out")) == 2


def test_stray_strike_goes_on_and_is_told(tmp_path: Path) -> None:
    async def acts(b: Bench, conductor: Conductor, scenario: Scenario) -> None:
        await asyncio.sleep(20)
        await strike(b, resting(scenario))
        await find_both(b, conductor, scenario)

    summary, _, _ = conduct(tmp_path, acts)
    assert summary.outcome == "met"
    assert any("stray" in flag for flag in summary.flags)
