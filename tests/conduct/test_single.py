"""The one that sends alone: nobody beside it, silence wins, and what it tells."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any

import pytest

from blindfield.conduct.single import News, Single
from blindfield.conduct.uninterrupted import to_the_end
from blindfield.links.virtual_time import run_virtual
from blindfield.model.errors import LogbookError, NotConfirmedSilent, NotReady
from blindfield.model.events import Event
from support.desks import Bench, bench
from support.one_sending import one_at_a_time, spells

NOW = "2026-01-01T00:00:00.000000Z"


def alone(
    folder: Path, acts: Callable[[Bench, Single], Coroutine[Any, Any, None]], **options: Any
) -> Bench:
    """`acts` on a Single that is ready and watched; it is finished afterwards."""

    async def main() -> Bench:
        async with bench(folder, **options) as b:
            single = Single(b.place, b.desk.crew, b.desk.media, b.desk.writer)
            await single.ready()
            try:
                async with single.watched():
                    await acts(b, single)
            finally:
                await single.finish()
            return b

    return run_virtual(main())


def test_the_next_one_does_not_begin_while_the_last_may_still_send(tmp_path: Path) -> None:
    async def acts(b: Bench, single: Single) -> None:
        first, second = b.place.targets[:2]
        await single.send(first)
        await asyncio.sleep(10)
        b.sim.cut_link(first.name)
        with pytest.raises(NotConfirmedSilent):
            await single.send(second)
        assert (single.sender, b.sim.sending(first.name)) == ("1", True)
        assert not b.sim.carrier_log(second.name)
        b.sim.mend_link(first.name)
        await asyncio.sleep(10)
        await single.send(second)
        await asyncio.sleep(10)
        assert [b.sim.sending(name) for name in ("1", "2")] == [False, True]

    b = alone(tmp_path, acts)
    assert one_at_a_time(b.sim)
    assert [name for _, _, name in spells(b.sim)] == ["1", "2"]


def test_a_record_of_an_earlier_sending_frees_nobody(tmp_path: Path) -> None:
    """It may be fetched late, after the target was let send once more."""

    async def acts(b: Bench, single: Single) -> None:
        first, second = b.place.targets[:2]
        await single.send(first)
        await asyncio.sleep(10)
        own = int.from_bytes(single.state.run_id[:2], "little")
        data = {"device": first.name, "run_tag": own ^ 1}
        late = Event(kind="rests", source="device", host_epoch=bytes(8), utc=NOW, data=data)
        b.sim.cut_link(first.name)
        single._take(late)
        with pytest.raises(NotConfirmedSilent):
            await single.send(second)
        assert not b.sim.carrier_log(second.name)
        b.sim.mend_link(first.name)

    assert one_at_a_time(alone(tmp_path, acts).sim)


def test_a_short_lease_frees_the_next_one_sooner(tmp_path: Path) -> None:
    async def acts(b: Bench, single: Single) -> None:
        first, second = b.place.targets[:2]
        await single.send(first)
        await asyncio.sleep(10)
        b.sim.cut_link(first.name)
        await asyncio.sleep(45)
        assert not b.sim.sending(first.name)  # its lease is over
        b.sim.mend_link(first.name)
        await single.send(second)

    assert one_at_a_time(alone(tmp_path, acts, lease_s=30.0).sim)


def test_silence_asked_for_by_another_command_ends_it_and_latches_all(tmp_path: Path) -> None:
    async def acts(b: Bench, single: Single) -> None:
        await single.send(b.place.targets[0])
        await asyncio.sleep(5)
        await single.silence("asked for by another command")
        with pytest.raises(NotReady, match="asked for by another command"):
            await single.heard()
        with pytest.raises(NotReady):  # and again, whoever asks
            await single.heard()

    b = alone(tmp_path, acts)
    assert all(device.core.journal.latched for device in b.sim.devices.values() if device.core)


def test_a_start_after_a_silence_that_nobody_noticed_is_refused(tmp_path: Path) -> None:
    async def acts(b: Bench, single: Single) -> None:
        single._watching = False  # the news of it did not come through
        await b.sim.medium().silence_all()
        await asyncio.sleep(0.5)
        with pytest.raises(Exception, match="was silenced"):
            await single.send(b.place.targets[0])
        assert single.silenced

    assert spells(alone(tmp_path, acts).sim) == []


def test_a_logbook_that_takes_nothing_more_ends_it_silent(tmp_path: Path) -> None:
    async def acts(b: Bench, single: Single) -> None:
        await single.send(b.place.targets[0])
        await asyncio.sleep(5)

        async def refuse(event: Event) -> int:
            raise LogbookError("the disk is full.")

        single.recorder.writer.append = refuse  # type: ignore[method-assign]
        b.sim.lift("1")
        with pytest.raises(LogbookError, match="the disk is full"):
            await asyncio.wait_for(single.heard(), 60)
        assert b.sim.carrier_log("1")

    b = alone(tmp_path, acts)
    assert not b.sim.sending("1")


def test_what_happened_before_the_watch_is_no_news(tmp_path: Path) -> None:
    async def main() -> None:
        async with bench(tmp_path) as b:
            b.sim.lift("2")
            await asyncio.sleep(10)
            single = Single(b.place, b.desk.crew, b.desk.media, b.desk.writer)
            await single.ready()
            async with single.watched():
                single.type(" a line ")
                assert await single.heard() == News("typed", text="a line")
                with pytest.raises(TimeoutError):
                    await asyncio.wait_for(single.heard(), 10)
                b.sim.put_back("2")
                await asyncio.sleep(60)
                b.sim.lift("2")
                assert await asyncio.wait_for(single.heard(), 60) == News("dug_out", "2")
            await single.finish()

    run_virtual(main())


def test_one_that_is_lost_before_it_is_ready_is_left_out(tmp_path: Path) -> None:
    async def main() -> None:
        async with bench(tmp_path) as b:
            b.sim.cut_link("4")
            single = Single(b.place, b.desk.crew, b.desk.media, b.desk.writer)
            await single.ready()
            assert sorted(m.name for m in single.crew.targets) == ["1", "2", "3", "5", "6"]
            assert "4" in single.troubles[0]

    run_virtual(main())


def test_what_must_end_ends_however_often_it_is_cancelled() -> None:
    done: list[int] = []

    async def work() -> None:
        for step in range(3):
            await asyncio.sleep(1)
            done.append(step)

    async def main() -> None:
        task = asyncio.create_task(to_the_end(work()))
        for _ in range(5):
            await asyncio.sleep(0.4)
            task.cancel()
        await task
        assert done == [0, 1, 2]

    run_virtual(main())
