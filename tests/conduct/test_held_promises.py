"""What a start, a reload and a recovery promise beyond what a run that goes well shows."""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from blindfield.conduct.loading import reload
from blindfield.links.client import DeviceClient
from blindfield.links.virtual_time import run_virtual
from blindfield.model.errors import NotReady
from blindfield.model.events import Event
from blindfield.model.scenario import Scenario
from fieldcore import wire
from support.conducting import kinds, strike
from support.desks import Bench, begun, bench, in_order, standing_field

NAMES = "123456"
BEGAN = datetime(2026, 1, 10, 9, tzinfo=UTC)
AWAY_S = 900.0  # from the start of the process that crashed to that of the next
CRASH_RUN_S = 30.0
STRIKE_RUN_S = 90.0
STROKE_S = 1.5  # from the call for a stroke to its contact, at most
WELL_TIMED_S = 0.1  # looks up to the crash and a crystal on its own for a minute after
UTC_STEP_S = 0.01  # an event's UTC is written in steps no longer than this
Position = tuple[int, int]
"""(journal_id, seq) up to which a device's records are on disk."""


async def _nothing(*_: Any, **__: Any) -> None: ...


async def crash(b: Bench) -> tuple[bytes, Scenario]:
    """A run whose process ends after CRASH_RUN_S, without a word, while the targets send.
    (run id, scenario)"""
    conductor, scenario = await b.prepared()
    task = await begun(conductor, scenario)
    await asyncio.sleep(CRASH_RUN_S)
    run_id = conductor.state.run_id
    conductor._finish = _nothing  # type: ignore[method-assign]
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    return run_id, scenario


def test_a_start_that_not_all_took_is_taken_back_before_anything_else(tmp_path: Path) -> None:
    loaded: list[Event] = []

    def note(event: Event) -> None:
        loaded.extend(kinds([event], "loaded"))

    async def main() -> None:
        async with bench(tmp_path) as b:
            conductor, scenario = await b.prepared()
            conductor.on_change = note
            conductor._finish = _nothing  # type: ignore[method-assign]  # the close would end all
            task = asyncio.create_task(conductor.run(scenario))
            while len(loaded) < len(NAMES):
                await asyncio.sleep(0.001)
            b.sim.cut_link("4")
            with pytest.raises(NotReady, match="Everything was cancelled"):
                await task
            armed = {n: d.core.armed for n, d in b.sim.devices.items() if d.core is not None}
            assert armed == dict.fromkeys(NAMES, False)
            await asyncio.sleep(30)
            assert not any(b.sim.carrier_log(name) for name in NAMES)

    run_virtual(main())


@pytest.mark.parametrize("latched", [True, False], ids=["latched", "lifted since"])
def test_a_target_silenced_within_the_run_is_given_no_sheet_again(
    tmp_path: Path, latched: bool
) -> None:
    async def main() -> None:
        async with bench(tmp_path) as b:
            conductor, scenario = await b.prepared()
            task = await begun(conductor, scenario)
            await asyncio.sleep(30)
            member = b.desk.crew.members[in_order(scenario)[0]]
            core = b.sim.devices[member.name].core
            assert core is not None
            core.silence(wire.BY_FRAME)
            count = core.journal.silence_count
            if latched:
                member.silence_count = count  # only the latch tells
            else:
                core.journal.set_silence(count, False)  # only the count tells
            await reload(conductor, member)  # nor is it asked to take one, which it would refuse
            assert member.revision == 1
            summary = await task
            assert summary.outcome == "interrupted"
            assert not kinds(b.desk.logbook.events_of(summary.run_id), "sheet_reloaded")

    run_virtual(main())


def test_recovery_asks_each_device_from_where_its_records_are_on_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: dict[str, Position] = {}
    on_disk: dict[str, Position] = {}
    fetch = DeviceClient.fetch

    async def noted(self: DeviceClient, journal_id: int, acked_seq: int) -> Any:
        asked.setdefault(self.name, (journal_id, acked_seq))
        return await fetch(self, journal_id, acked_seq)

    async def main() -> None:
        sim = standing_field(tmp_path)
        async with bench(tmp_path, sim=sim) as b:
            run_id, _ = await crash(b)
            for event in b.desk.logbook.events_of(run_id):
                if event.device_key is not None:
                    key = event.device_key
                    on_disk[event.data["device"]] = (key.journal_id, key.seq)
        monkeypatch.setattr(DeviceClient, "fetch", noted)
        async with bench(tmp_path, sim=sim):
            assert set(on_disk) == {*NAMES}
            assert asked == on_disk
        sim.stop()

    run_virtual(main())


def test_recovery_times_what_nobody_heard_by_the_looks_of_the_crashed_process(
    tmp_path: Path,
) -> None:
    async def main() -> None:
        sim = standing_field(tmp_path)
        async with bench(tmp_path, sim=sim) as b:
            _, scenario = await crash(b)
            await asyncio.sleep(STRIKE_RUN_S - CRASH_RUN_S)
            sim.probe(in_order(scenario)[0])
            await asyncio.sleep(10)
        async with bench(tmp_path, sim=sim) as again:
            summary = again.desk.logbook.find_run(None).summary
            assert summary is not None
            (found,) = summary.find_run_s
            assert found.best == pytest.approx(STRIKE_RUN_S, abs=STROKE_S)
            assert found.high - found.low < WELL_TIMED_S
        sim.stop()

    run_virtual(main())


def test_recovery_goes_on_in_the_time_of_the_crashed_process(tmp_path: Path) -> None:
    run_ids: list[bytes] = []

    async def first() -> None:
        async with bench(tmp_path) as b:
            run_ids.append((await crash(b))[0])

    async def later() -> None:
        async with bench(tmp_path, seed=4) as again:  # all its devices have restarted
            events = again.desk.logbook.events_of(run_ids[0])
            assert len({event.host_epoch for event in events}) == 1
            recovered = kinds(events, "recovered")[0]
            since_s = (datetime.fromisoformat(recovered.utc) - BEGAN).total_seconds()
            assert since_s >= AWAY_S
            assert recovered.host_s is not None
            assert recovered.host_s.best == pytest.approx(since_s, abs=UTC_STEP_S)

    run_virtual(first(), utc_start=BEGAN)  # its loop time is what has passed since
    run_virtual(later(), start_s=5000.0, utc_start=BEGAN + timedelta(seconds=AWAY_S))


def test_a_target_still_in_a_closed_run_is_ended_by_the_next_command(tmp_path: Path) -> None:
    async def main() -> None:
        sim = standing_field(tmp_path)
        async with bench(tmp_path, sim=sim) as b:
            conductor, scenario = await b.prepared()
            task = await begun(conductor, scenario)
            first = in_order(scenario)[0]
            await asyncio.sleep(20)
            sim.cut_link(first)
            sim.air_loss = 1.0  # nor does it hear the silence of its neighbours
            task.cancel()
            with pytest.raises(asyncio.CancelledError):
                await task
            assert first in conductor.doubtful
            assert not b.desk.logbook.open_runs()
        await asyncio.sleep(5)
        sim.mend_link(first)
        core = sim.devices[first].core
        assert core is not None
        assert core.run.running
        async with bench(tmp_path, sim=sim) as again:
            assert again.desk.recovered == [
                f"{first} was still in a run that is closed; it was ended."
            ]
            assert not core.run.running
            pulses = len(sim.carrier_log(first))
            await asyncio.sleep(20)
            assert len(sim.carrier_log(first)) == pulses
        sim.stop()

    run_virtual(main())


def test_a_record_held_back_before_a_strike_survives_a_crash(tmp_path: Path) -> None:
    """The strike is on disk, what came before it is not: recovery must not acknowledge past it."""

    async def main() -> None:
        sim = standing_field(tmp_path)
        async with bench(tmp_path, sim=sim) as b:
            conductor, scenario = await b.prepared()
            task = await begun(conductor, scenario)
            first = in_order(scenario)[0]
            await asyncio.sleep(30)
            await strike(b, first)
            run_id = conductor.state.run_id
            conductor._finish = _nothing  # type: ignore[method-assign]
            task.cancel()
            with pytest.raises(asyncio.CancelledError):
                await task
        async with bench(tmp_path, sim=sim) as again:
            events = again.desk.logbook.events_of(run_id)
            assert first in {event.data["device"] for event in kinds(events, "sends")}
            assert len(kinds(events, "strike")) == 1
        sim.stop()

    run_virtual(main())
