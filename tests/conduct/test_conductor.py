"""Whole runs on simulated devices that carry the real core, on virtual time."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any

import pytest

from blindfield.conduct.conductor import Conductor
from blindfield.conduct.state import RunState, replay, summary_of
from blindfield.links.virtual_time import run_virtual
from blindfield.model.errors import NotReady
from blindfield.model.events import Event
from blindfield.model.run_summary import RunSummary
from blindfield.model.scenario import Part, Scenario
from support.desks import Bench, begun, bench, in_order, resting, standing_field

Acts = Callable[[Bench, Conductor, Scenario], Coroutine[Any, Any, None]]
TRAIN_SLACK_S = 1e-3  # a pulse's place against its plan: clock fit and whole microseconds
UNKNOWN_RATE = (
    60e-6  # a minute's acquaintance does not show a crystal's rate: +-30 ppm and the host's
)


def conduct(
    folder: Path, acts: Acts, *, lease_s: float | None = None, loss: float = 0.0, **draw: Any
) -> tuple[RunSummary, list[Event], Bench]:
    """A run during which `acts` happen; its summary, its events, and the bench."""

    async def main() -> tuple[RunSummary, list[Event], Bench]:
        async with bench(folder, lease_s=lease_s) as b:
            for device in b.sim.devices.values():
                device.line.loss = loss
                device.line.doubling = loss / 5
            conductor, scenario = await b.prepared(**draw)
            task = await begun(conductor, scenario)
            actor = asyncio.create_task(acts(b, conductor, scenario))
            summary = await task
            await actor
            events = b.desk.logbook.events_of(summary.run_id)
            assert b.desk.logbook.check_commitment(summary.run_id)
            assert not any(b.sim.sending(name) for name in "123456")
            return summary, events, b

    return run_virtual(main())


def kinds(events: list[Event], kind: str) -> list[Event]:
    return [event for event in events if event.kind == kind]


def off_its_place_s(pulse_s: float, state: RunState, part: Part) -> float:
    """How far a pulse is from its place in the train, beyond what is allowed (negative: right)."""
    assert state.start_s is not None
    run_s = pulse_s - (state.start_s.best or 0)
    half_us = part.period_us / 2
    off_us = (run_s * 1e6 - part.phase_us + half_us) % part.period_us - half_us
    return abs(off_us) / 1e6 - TRAIN_SLACK_S - UNKNOWN_RATE * run_s


async def strike(b: Bench, name: str, manner: Any = "sharp") -> None:
    b.sim.probe(name, manner)
    await asyncio.sleep(3)


async def find_both(b: Bench, conductor: Conductor, scenario: Scenario) -> None:
    first, second = in_order(scenario)
    await asyncio.sleep(60)
    await strike(b, first)
    await asyncio.sleep(90)
    await strike(b, second, "push")


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
            assert len(set(counts.values())) <= 2, counts  # retries aside, sizes alike
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


def test_a_link_cut_for_a_minute_loses_and_doubles_nothing(tmp_path: Path) -> None:
    async def acts(b: Bench, conductor: Conductor, scenario: Scenario) -> None:
        first, second = in_order(scenario)
        await asyncio.sleep(30)
        b.sim.cut_link(first)
        await asyncio.sleep(10)
        await strike(b, first)
        await asyncio.sleep(50)
        b.sim.mend_link(first)
        await asyncio.sleep(40)
        await strike(b, second)

    summary, events, _ = conduct(tmp_path, acts)
    strikes = kinds(events, "strike")
    assert [e.data["device"] for e in strikes] == [e.data["device"] for e in strikes]
    assert len({e.device_key for e in strikes}) == len(strikes) == 2
    assert summary.outcome == "met"
    assert 39 < (summary.find_run_s[0].best or 0) < 42
    assert any("link" in flag for flag in summary.flags)


def test_a_rebooted_target_comes_back_in_its_place_and_the_run_is_flagged(tmp_path: Path) -> None:
    async def acts(b: Bench, conductor: Conductor, scenario: Scenario) -> None:
        first, _ = in_order(scenario)
        await asyncio.sleep(30)
        b.sim.reboot(first)
        await asyncio.sleep(30)
        assert b.sim.carrier_log(first)[-1][0] > asyncio.get_running_loop().time() - 1.5
        await find_both(b, conductor, scenario)

    summary, events, b = conduct(tmp_path, acts)
    assert summary.outcome == "met"
    assert any("restarted" in flag for flag in summary.flags)
    assert kinds(events, "sheet_reloaded")[0].data["revision"] == 2
    state = replay(events)
    assert state.scenario is not None
    assert state.start_s is not None
    part = state.scenario.part(in_order(state.scenario)[0])
    assert part is not None
    for start_s, _, _ in b.sim.carrier_log(part.name):
        assert off_its_place_s(start_s, state, part) < 0


def test_a_short_lease_silences_a_target_that_hears_nobody(tmp_path: Path) -> None:
    marks: dict[str, float] = {}

    async def acts(b: Bench, conductor: Conductor, scenario: Scenario) -> None:
        first, _ = in_order(scenario)
        await asyncio.sleep(30)
        b.sim.cut_link(first)
        marks["cut_s"] = asyncio.get_running_loop().time()
        marks["name"] = float(first)
        await asyncio.sleep(90)
        b.sim.mend_link(first)
        await asyncio.sleep(20)
        conductor._spawn(conductor.recorder.say("stop", "person", by="searcher", means="button"))

    summary, _, b = conduct(tmp_path, acts, lease_s=20.0)
    last_s = b.sim.carrier_log(str(int(marks["name"])))[-1][0]
    assert marks["cut_s"] + 15 < last_s < marks["cut_s"] + 20.5
    assert summary.outcome == "stopped"


@pytest.mark.parametrize("found_first", [True, False])
def test_a_knock_silences_everything_through_the_air(tmp_path: Path, found_first: bool) -> None:
    async def acts(b: Bench, conductor: Conductor, scenario: Scenario) -> None:
        first, _ = in_order(scenario)
        await asyncio.sleep(30)
        if found_first:
            await strike(b, first)
            await asyncio.sleep(20)
        b.sim.knock(first if found_first else resting(scenario))

    summary, events, _ = conduct(tmp_path, acts)
    assert summary.outcome == ("stopped" if found_first else "interrupted")
    assert {event.data["device"] for event in kinds(events, "silenced")} >= set("123456")


def test_silence_from_anyone_interrupts_and_latches(tmp_path: Path) -> None:
    async def acts(b: Bench, conductor: Conductor, scenario: Scenario) -> None:
        await asyncio.sleep(30)
        await conductor.silence("somebody shouted")

    summary, events, _ = conduct(tmp_path, acts)
    assert summary.outcome == "interrupted"
    assert kinds(events, "silence_sent")


@pytest.mark.parametrize("loss", [0.05, 0.15])
def test_lost_and_doubled_frames_do_not_show(tmp_path: Path, loss: float) -> None:
    summary, events, _ = conduct(tmp_path, find_both, loss=loss)
    assert summary.outcome == "met"
    assert len(kinds(events, "strike")) == 2
    assert not kinds(events, "load_failed")


def test_one_device_that_does_not_take_the_start_cancels_it_everywhere(tmp_path: Path) -> None:
    async def main() -> None:
        async with bench(tmp_path) as b:
            conductor, scenario = await b.prepared()
            task = asyncio.create_task(conductor.run(scenario))
            while len(_loaded(conductor)) < 6:
                await asyncio.sleep(0.001)
            b.sim.cut_link("4")
            with pytest.raises(NotReady, match="cannot start"):
                await task
            await asyncio.sleep(30)
            assert not any(b.sim.carrier_log(name) for name in "123456")
            assert not b.desk.logbook.open_runs()

    loaded: list[str] = []

    def _loaded(conductor: Conductor) -> list[str]:
        if conductor.on_change.__name__ == "<lambda>":

            def note(event: Event) -> None:
                if event.kind == "loaded":
                    loaded.append(event.data["device"])

            conductor.on_change = note
        return loaded

    run_virtual(main())


def test_a_silence_between_load_and_start_forbids_the_start(tmp_path: Path) -> None:
    async def main() -> None:
        async with bench(tmp_path) as b:
            conductor, scenario = await b.prepared()
            done = asyncio.Event()

            def note(event: Event) -> None:
                if event.kind == "loaded":
                    done.set()

            conductor.on_change = note
            task = asyncio.create_task(conductor.run(scenario))
            await done.wait()
            for medium in b.desk.media:
                await medium.silence_all()
            with pytest.raises(NotReady):
                await task
            await asyncio.sleep(60)
            assert not any(b.sim.carrier_log(name) for name in "123456")

    run_virtual(main())


def test_a_latched_field_is_refused_with_the_remedy(tmp_path: Path) -> None:
    async def main() -> None:
        async with bench(tmp_path) as b:
            for medium in b.desk.media:
                await medium.silence_all()
            with pytest.raises(NotReady, match="blindfield rearm"):
                await b.prepared()

    run_virtual(main())


def test_a_low_battery_is_refused_whoever_is_in_play(tmp_path: Path) -> None:
    async def main() -> None:
        async with bench(tmp_path) as b:
            b.sim.battery("3", 2100)
            with pytest.raises(NotReady, match=r"3: its battery is at 2\.10 V"):
                await b.prepared()

    run_virtual(main())


def test_ctrl_c_silences_and_keeps_the_run_as_stopped(tmp_path: Path) -> None:
    async def main() -> None:
        async with bench(tmp_path) as b:
            conductor, scenario = await b.prepared()
            task = await begun(conductor, scenario)
            await asyncio.sleep(20)
            task.cancel()
            with pytest.raises(asyncio.CancelledError):
                await task
            assert not any(b.sim.sending(name) for name in "123456")
            record = b.desk.logbook.find_run(None)
            assert record.summary is not None
            assert record.summary.outcome == "stopped"
            pulses = {name: len(b.sim.carrier_log(name)) for name in "123456"}
            await asyncio.sleep(30)
            assert pulses == {name: len(b.sim.carrier_log(name)) for name in "123456"}

    run_virtual(main())


def test_a_crashed_host_finds_the_run_silences_and_closes_it_as_interrupted(tmp_path: Path) -> None:
    async def main() -> None:
        sim = standing_field(tmp_path)
        async with bench(tmp_path, sim=sim) as b:
            conductor, scenario = await b.prepared()
            task = await begun(conductor, scenario)
            first, _ = in_order(scenario)
            await asyncio.sleep(30)
            conductor._finish_shielded = _nothing  # type: ignore[method-assign]
            task.cancel()
            with pytest.raises(asyncio.CancelledError):
                await task
            await asyncio.sleep(5)
            await strike(b, first)  # nobody listens; the target keeps it
            assert b.sim.sending(first) or b.sim.carrier_log(first)
        async with bench(tmp_path, sim=sim) as again:
            assert "closed as interrupted" in again.desk.recovered[0]
            record = again.desk.logbook.find_run(None)
            assert record.summary is not None
            assert record.summary.outcome == "interrupted"
            assert record.summary.found == 1
            last_s = max(sim.carrier_log(first), key=lambda row: row[0])[0]
            await asyncio.sleep(20)
            assert max(sim.carrier_log(first), key=lambda row: row[0])[0] == last_s
            conductor, scenario = await again.prepared()
        sim.stop()

    run_virtual(main())


async def _nothing(*_: Any, **__: Any) -> None: ...
