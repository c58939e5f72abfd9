"""The parts a simulated device is made of: its line, its senses, its flash."""

from __future__ import annotations

import asyncio
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blindfield.links.rig.body import PERIOD_US, BuriedBody
from blindfield.links.sim.board import SimClock
from blindfield.links.sim.field import SimField
from blindfield.links.sim.flash import PowerCut, SimFlash
from blindfield.links.sim.line import SimLine
from blindfield.links.sim.senses import Senses
from blindfield.links.virtual_time import run_virtual
from fieldcore.sensor import Block
from support.flash import mounted, put, records
from support.hosting import Host, simulate

FRAMES = 1000
A_HALF = (450, 550)  # of FRAMES fair draws: more than three standard deviations either way


def carried(count: int = FRAMES, **faults: float) -> int:
    """How many of `count` frames arrive at the device."""
    line = SimLine(Random(1))
    for name, value in faults.items():
        setattr(line, name, value)
    arrived: list[bytes] = []
    line.on_device = arrived.append

    async def main() -> None:
        for _ in range(count):
            line.to_device(b"x")
        await asyncio.sleep(1.0)

    run_virtual(main())
    return len(arrived)


def test_line_loses_and_doubles_as_it_was_told() -> None:
    assert carried() == FRAMES
    assert carried(loss=1.0) == 0
    assert A_HALF[0] <= carried(loss=0.5) <= A_HALF[1]
    assert carried(doubling=1.0) == 2 * FRAMES
    assert A_HALF[0] <= carried(doubling=0.5) - FRAMES <= A_HALF[1]


def test_line_takes_its_time_and_keeps_the_order() -> None:
    line = SimLine(Random(1))
    line.delay_s = (0.5, 1.5)
    sent = [bytes((number,)) for number in range(50)]
    heard: list[tuple[bytes, float]] = []

    async def main() -> None:
        loop = asyncio.get_running_loop()
        line.on_host = lambda data: heard.append((data, loop.time()))
        for data in sent:
            line.to_host(data)
            await asyncio.sleep(0.1)
        await asyncio.sleep(2.0)

    run_virtual(main())
    assert [data for data, _ in heard] == sent
    for number, (_, at_s) in enumerate(heard):
        assert 0.5 - 1e-9 <= at_s - 0.1 * number <= 1.5 + 1e-9


def test_cut_takes_what_is_under_way_and_what_is_sent_until_mended() -> None:
    line = SimLine(Random(1))
    line.delay_s = (1.0, 1.0)
    heard: list[bytes] = []
    line.on_host = heard.append

    async def main() -> None:
        line.to_host(b"under way")
        await asyncio.sleep(0.5)
        line.cut = True
        await asyncio.sleep(1.0)
        line.to_host(b"into the cut")
        await asyncio.sleep(0.5)
        line.cut = False
        line.to_host(b"mended")
        await asyncio.sleep(5.0)

    run_virtual(main())
    assert heard == [b"mended"]


def test_senses_lead_in_go_on_a_second_after_the_signal_and_then_rest() -> None:
    heard: list[tuple[int, int, float]] = []

    async def main() -> float:
        loop = asyncio.get_running_loop()

        def take(block: Block) -> None:
            heard.append((block.first_us, block.count, loop.time()))

        senses = Senses(BuriedBody(Random(1)), SimClock(0.0), take)
        await asyncio.sleep(10.0)
        assert not heard
        contact_s = senses.feel("sharp")
        await asyncio.sleep(60.0)
        assert contact_s is not None
        return contact_s

    contact_s = run_virtual(main())
    assert contact_s - 10.0 > 32 * PERIOD_US / 1e6
    assert heard[-1][2] - contact_s > 1.9  # the model's second, and the one of stillness
    assert heard[-1][2] < 15.0
    at_us = 10_000_000
    for first_us, count, over_s in heard:
        assert abs(first_us - at_us) <= 1
        at_us += count * PERIOD_US
        assert over_s == pytest.approx(at_us / 1e6)


def test_device_waits_for_one_thing_however_often_it_is_spoken_to() -> None:
    async def script(field: SimField) -> None:
        host = await Host(field).connect()
        for _ in range(50):
            await host.clients["1"].status()
        core = field.devices["1"].core
        assert core is not None
        calls: list[float] = []
        advance = core.advance

        def counted(now_us: int) -> int:
            calls.append(asyncio.get_running_loop().time())
            return advance(now_us)

        core.advance = counted  # type: ignore[method-assign]
        await asyncio.sleep(3010.0)
        assert len(calls) == 10  # the clock wants a reading every 300 s

    simulate(script)


@given(st.lists(st.integers(0, 80), max_size=12), st.booleans())
def test_flash_in_the_device_keeps_whole_records_over_any_cuts(cuts: list[int], full: bool) -> None:
    flash = SimFlash(3, 256)
    kept: list[bytes] = []
    for budget in [*cuts, 10_000]:
        flash.bytes_left = budget
        try:
            journal = mounted(flash)
            while put(journal):
                pass
        except PowerCut:
            pass
        flash.bytes_left = None
        seen = records(mounted(flash))
        assert seen[: len(kept)] == kept
        kept = seen


def test_flash_takes_bytes_once_and_only_inside() -> None:
    flash = SimFlash(2, 64)
    flash.write(0, b"abc")
    for offset in (2, 126):
        with pytest.raises(ValueError, match="not erased"):
            flash.write(offset, b"abc")
    flash.erase(0)
    flash.write(2, b"abc")


def test_power_cut_in_an_erase_leaves_half_of_the_page() -> None:
    flash = SimFlash(2, 64)
    flash.write(0, b"a" * 128)
    flash.bytes_left = 1
    with pytest.raises(PowerCut):
        flash.erase(1)
    after = bytearray(128)
    flash.read_into(0, after)
    assert after == b"a" * 64 + b"\xff" * 32 + b"a" * 32
