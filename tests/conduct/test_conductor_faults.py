"""Faults during whole runs: links, restarts, silence, battery, Ctrl-C, crash."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest

from blindfield.conduct.closing import last_instant_s
from blindfield.conduct.conductor import Conductor
from blindfield.conduct.rearming import latches, rearm_all
from blindfield.conduct.state import replay
from blindfield.links.channel import no_frame
from blindfield.links.sim.field import SimField
from blindfield.links.virtual_time import run_virtual
from blindfield.logbook.book import Logbook
from blindfield.model.errors import LogbookError, NotReady
from blindfield.model.events import Event
from blindfield.model.scenario import Scenario
from support.conducting import conduct, find_both, kinds, off_its_place_s, strike
from support.desks import Bench, begun, bench, in_order, resting, standing_field


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
    scenario = replay(events).scenario
    assert scenario is not None
    assert [e.data["device"] for e in strikes] == in_order(scenario)
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
            conductor.on_change = note
            task = asyncio.create_task(conductor.run(scenario))
            while len(loaded) < 6:
                await asyncio.sleep(0.001)
            b.sim.cut_link("4")
            with pytest.raises(NotReady, match="cannot start"):
                await task
            await asyncio.sleep(30)
            assert not any(b.sim.carrier_log(name) for name in "123456")
            assert not b.desk.logbook.open_runs()

    loaded: list[str] = []

    def note(event: Event) -> None:
        if event.kind == "loaded":
            loaded.append(event.data["device"])

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


def test_a_crashed_host_finds_the_run_silences_and_closes_it_as_interrupted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    running_while_read: list[str] = []
    read = Logbook.events_of

    def events_of(self: Logbook, run_id: bytes | None) -> list[Event]:
        if run_id is not None:
            running_while_read.extend(running(sims[0]))
        return read(self, run_id)

    sims: list[SimField] = []
    monkeypatch.setattr(Logbook, "events_of", events_of)

    async def main() -> None:
        sim = standing_field(tmp_path)
        async with bench(tmp_path, sim=sim) as b:
            conductor, scenario = await b.prepared()
            task = await begun(conductor, scenario)
            first, _ = in_order(scenario)
            await asyncio.sleep(30)
            conductor._finish = _nothing  # type: ignore[method-assign]
            task.cancel()
            with pytest.raises(asyncio.CancelledError):
                await task
            await asyncio.sleep(5)
            await strike(b, first)  # nobody listens; the target keeps it
            assert running(sim) == list("123456")
        sims.append(sim)
        async with bench(tmp_path, sim=sim) as again:
            assert running_while_read == []  # a damaged logbook must not keep a field sending
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


def running(sim: SimField) -> list[str]:
    """Names of the devices in a run, as their status would say."""
    return [name for name, device in sim.devices.items() if device.core and device.core.run.running]


async def _nothing(*_: Any, **__: Any) -> None: ...


def test_a_logbook_that_fails_in_mid_run_ends_it_silent_with_a_sentence(tmp_path: Path) -> None:
    async def main() -> None:
        async with bench(tmp_path) as b:
            conductor, scenario = await b.prepared()
            task = await begun(conductor, scenario)
            await asyncio.sleep(20)

            async def full(event: Event) -> int:
                raise LogbookError("the disk is full.", remedy="Make room.")

            b.desk.writer.append = full  # type: ignore[method-assign]
            await strike(b, in_order(scenario)[0])
            with pytest.raises(LogbookError, match="the disk is full"):
                await task
            pulses = {name: len(b.sim.carrier_log(name)) for name in "123456"}
            await asyncio.sleep(30)
            assert pulses == {name: len(b.sim.carrier_log(name)) for name in "123456"}
            core = b.sim.devices[in_order(scenario)[0]].core
            assert core is not None
            assert core.journal.acked_seq < core.journal.last_seq  # nothing unkept was acknowledged

    run_virtual(main())


def test_clocks_that_wrap_during_the_run_do_not_show(tmp_path: Path) -> None:
    async def main() -> None:
        async with bench(tmp_path) as b:
            for number, device in enumerate(b.sim.devices.values()):
                assert device.core is not None
                device.core.clock.start_at(number % 2 * 255, (1 << 30) - 40_000 - 9_000 * number)
            conductor, scenario = await b.prepared()
            task = await begun(conductor, scenario)
            await find_both(b, conductor, scenario)
            summary = await task
            assert (summary.outcome, summary.found) == ("met", 2)
            assert 59 < (summary.find_run_s[0].best or 0) < 63
            state = replay(b.desk.logbook.events_of(summary.run_id))
            for part in scenario.in_play:
                for row in b.sim.carrier_log(part.name):
                    assert off_its_place_s(row[0], state, part) < 0

    run_virtual(main())


def test_a_port_that_comes_back_at_the_close_is_used_to_silence(tmp_path: Path) -> None:
    async def main() -> None:
        async with bench(tmp_path) as b:
            conductor, scenario = await b.prepared()
            task = await begun(conductor, scenario)
            first, _ = in_order(scenario)
            await asyncio.sleep(20)
            b.sim.cut_link(first)
            await asyncio.sleep(10)
            task.cancel()
            await asyncio.sleep(1)
            b.sim.mend_link(first)
            with pytest.raises(asyncio.CancelledError):
                await task
            assert not conductor.doubtful
            assert not b.sim.sending(first)

    run_virtual(main())


def test_only_the_silence_that_was_counted_is_lifted(tmp_path: Path) -> None:
    async def main() -> None:
        async with bench(tmp_path) as b:
            crew = b.desk.crew
            for medium in b.desk.media:
                await medium.silence_all()
            counted = await latches(crew)
            assert set(counted) == {*"123456"}
            assert not any((await rearm_all(b.place, crew, counted)).values())
            for medium in b.desk.media:
                await medium.silence_all()
            counted = await latches(crew)
            for medium in b.desk.media:
                await medium.silence_all()  # by somebody else, while the first is being answered
            assert all((await rearm_all(b.place, crew, counted)).values())
            assert set(await latches(crew)) == {*"123456"}

    run_virtual(main())


def test_the_last_instant_allows_for_requests_heard_whose_replies_were_lost(tmp_path: Path) -> None:
    async def main() -> None:
        async with bench(tmp_path, lease_s=60.0) as b:
            conductor, scenario = await b.prepared()
            task = await begun(conductor, scenario)
            await asyncio.sleep(20)
            member = b.desk.crew.members[in_order(scenario)[0]]
            member.client.channel.on_frame = no_frame  # it hears us, we do not hear it
            await asyncio.sleep(100)
            core = b.sim.devices[member.name].core
            assert core is not None
            assert core.run.running  # its lease was renewed all the while
            left_s = core.live_left_ms() / 1000
            assert last_instant_s(conductor) >= asyncio.get_running_loop().time() + left_s - 0.1
            task.cancel()
            with pytest.raises(asyncio.CancelledError):
                await task
            assert member.name in conductor.doubtful

    run_virtual(main())


def test_the_last_instant_allows_for_a_start_that_may_have_been_taken(tmp_path: Path) -> None:
    async def main() -> None:
        async with bench(tmp_path) as b:
            conductor, scenario = await b.prepared()
            task = asyncio.create_task(conductor.run(scenario))
            armed = b.sim.devices["1"]
            while armed.core is None or not armed.core.armed:
                await asyncio.sleep(0.0002)
            assert conductor.state.start_s is None
            left_s = armed.core.live_left_ms() / 1000
            assert left_s > scenario.end_s
            assert last_instant_s(conductor) >= asyncio.get_running_loop().time() + left_s - 0.1
            task.cancel()
            with pytest.raises(asyncio.CancelledError):
                await task

    run_virtual(main())
