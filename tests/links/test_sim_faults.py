"""What goes wrong in a field goes wrong here too: lines, power, clocks, late calls."""

from __future__ import annotations

import asyncio
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blindfield.links.sim.board import CARRIER_HZ, POST, SimBoard
from blindfield.links.sim.field import SimField
from blindfield.model.errors import LinkLost
from fieldcore import wire
from support.hosting import ON_S, PERIOD_S, Host, simulate

CLOCK_READING_S = 0.004  # how much sooner a run may begin than the host can tell
LATE_S = 0.02


def end_s(burst: tuple[float, int, float | None]) -> float:
    """When a burst was over."""
    start_s, periods, aborted_s = burst
    return start_s + periods / CARRIER_HZ if aborted_s is None else aborted_s


# The line


def test_cut_line_answers_nothing_and_the_target_ends_with_its_lease() -> None:
    async def script(field: SimField) -> None:
        host = await Host(field).connect()
        await host.start("1", end_s=600.0, lease_s=30.0)
        field.cut_link("1")
        cut_s = asyncio.get_running_loop().time()
        with pytest.raises(LinkLost):
            await host.clients["1"].status()
        await host.clients["2"].status()
        await asyncio.sleep(120.0)
        last_s = end_s(field.carrier_log("1")[-1])
        assert cut_s + 30.0 - 2 * PERIOD_S <= last_s <= cut_s + 30.0 + CLOCK_READING_S
        field.mend_link("1")
        assert (await host.journal("1"))[-1].data["cause"] == "lease"

    simulate(script)


def test_requests_get_through_lines_that_lose_and_double_frames_and_act_once() -> None:
    async def script(field: SimField) -> None:
        line = field.devices["1"].line
        line.loss, line.doubling, line.delay_s = 0.3, 0.3, (0.001, 0.03)
        host = await Host(field).connect()
        await host.start("1", end_s=5.0)
        await asyncio.sleep(10.0)
        assert await host.kinds("1") == ["boot", "started", "sends", "ended"]
        assert host.clients["1"].retries > 0
        assert host.clients["1"].ignored > 0

    simulate(script)


def test_silence_on_every_line_stops_all_that_send_open_or_not() -> None:
    async def script(field: SimField) -> None:
        medium = field.medium()
        host = await Host(field).connect()
        for name in field.devices:
            field.devices[name].line.loss = 0.0
            await host.start(name, end_s=600.0, lease_s=600.0)
        await asyncio.sleep(5.0)
        for client in host.clients.values():
            await client.channel.close()
        begin_s = asyncio.get_running_loop().time()
        await medium.silence_all()
        await asyncio.sleep(60.0)
        for name in field.devices:
            assert not field.sending(name)
            assert end_s(field.carrier_log(name)[-1]) <= begin_s + 0.1

    simulate(script, 3)


# Power


def test_reboot_begins_a_new_clock_in_silence_over_the_same_journal() -> None:
    async def script(field: SimField) -> None:
        host = await Host(field).connect()
        client = host.clients["1"]
        before = await client.status()
        await host.start("1", end_s=600.0)
        await asyncio.sleep(5.53)  # in the middle of a burst
        ticks_us = field.devices["1"].board.clock.ticks_us(0.0)
        field.reboot("1")
        off_s = asyncio.get_running_loop().time()
        assert field.devices["1"].board.clock.ticks_us(0.0) != ticks_us
        await asyncio.sleep(60.0)
        assert end_s(field.carrier_log("1")[-1]) <= off_s
        after = await client.status()
        assert after["clock_id"] > before["clock_id"]
        assert after["journal_id"] == before["journal_id"]
        assert after["state"] == 0
        assert await host.kinds("1") == ["boot", "started", "sends", "boot"]

    simulate(script)


def test_settings_outlive_a_reboot() -> None:
    async def script(field: SimField) -> None:
        host = await Host(field).connect()
        client = host.clients["1"]
        await client.request("set_setting", 0, 77)
        field.reboot("1")
        assert (await client.request("settings"))["values"][:4] == b"M\0\0\0"

    simulate(script)


def test_silence_outlives_a_reboot() -> None:
    async def script(field: SimField) -> None:
        host = await Host(field).connect()
        field.devices["1"].press_button()
        field.reboot("1")
        assert (await host.clients["1"].status())["latched"]

    simulate(script)


def test_power_cut_while_the_device_boots_leaves_it_off_until_the_next_reboot() -> None:
    async def script(field: SimField) -> None:
        host = await Host(field).connect()
        field.probe("1", strength=1.5)
        await asyncio.sleep(10.0)
        earlier = [record.raw for record in await host.journal("1")]
        field.cut_power("1", 9)
        field.reboot("1")
        assert field.devices["1"].core is None
        field.reboot("1")
        later = await host.journal("1")
        assert [record.raw for record in later[:-1]] == earlier
        assert later[-1].kind == "boot"

    simulate(script)


@settings(max_examples=12, deadline=None)
@given(in_bytes=st.integers(0, 31))
def test_power_cut_in_the_middle_of_a_record_keeps_all_earlier_ones(in_bytes: int) -> None:
    async def script(field: SimField) -> None:
        host = await Host(field).connect()
        field.probe("1", strength=1.5)
        await asyncio.sleep(10.0)
        earlier = [record.raw for record in await host.journal("1")]
        field.cut_power("1", in_bytes)
        field.probe("1", strength=1.5)
        await asyncio.sleep(10.0)
        assert field.devices["1"].core is None
        with pytest.raises(LinkLost):
            await host.clients["1"].status()
        field.reboot("1")
        later = await host.journal("1")
        assert [record.raw for record in later[:-1]] == earlier
        assert later[-1].kind == "boot"
        field.cut_power("1", 1000)  # the next failure is far off
        field.probe("1", strength=1.5)
        await asyncio.sleep(10.0)
        assert (await host.kinds("1"))[-1] == "strike"

    simulate(script, 1)


def test_power_cut_stops_the_carrier_at_that_moment() -> None:
    async def script(field: SimField) -> None:
        host = await Host(field).connect()
        await host.start(
            "1", end_s=600.0, cues=[[wire.CUE_AT, 0, 0, True], [wire.CUE_AT, 4050, 0, False]]
        )
        field.cut_power("1", 64 + 5)  # `started` and `sends` fit, `rests` at 4.05 s does not
        await asyncio.sleep(60.0)
        assert field.devices["1"].core is None
        start_s, _, aborted_s = field.carrier_log("1")[-1]
        assert len(field.carrier_log("1")) == 5
        assert aborted_s is not None
        assert aborted_s - start_s == pytest.approx(0.05, abs=0.002)
        assert not field.sending("1")

    simulate(script)


# The carrier


def test_burst_is_cut_short_only_while_it_is_on() -> None:
    now_s = 5.0
    board = SimBoard(b"device-1", POST, None, Random(1), lambda: now_s)
    board.abort()
    board.pulse(45_700)
    now_s = 5.05
    board.abort()
    now_s = 6.0
    board.pulse(45_700)
    now_s = 6.2
    assert board.sending()
    board.abort()
    assert board.carrier == [(5.0, 45_700, 5.05), (6.0, 45_700, None)]
    assert not board.sending()


@settings(max_examples=30, deadline=None)
@given(
    sheet_s=st.floats(1.0, 40.0), ppm=st.floats(-200.0, 200.0), late_s=st.floats(0.0, 0.3),
    seed=st.integers(0, 1000), lease_s=st.floats(5.0, 60.0),
)  # fmt: skip
def test_carrier_never_lasts_beyond_the_sheet_or_the_lease(
    sheet_s: float, ppm: float, late_s: float, seed: int, lease_s: float
) -> None:
    async def script(field: SimField) -> None:
        field.detune("1", ppm)
        field.devices["1"].lateness_s = (0.0, late_s)
        host = await Host(field).connect()
        begin_s = await host.start("1", end_s=sheet_s, lease_s=lease_s)
        await asyncio.sleep(100.0)
        rate = field.devices["1"].board.clock.rate
        latest_s = begin_s + min(sheet_s, lease_s) / rate  # nothing is asked during the run
        log = field.carrier_log("1")
        assert log or late_s > LATE_S
        assert all(begin_s - CLOCK_READING_S <= burst[0] for burst in log)
        assert all(end_s(burst) <= latest_s for burst in log)
        assert all(end_s(burst) - burst[0] <= ON_S + 0.001 for burst in log)

    simulate(script, 1, seed=seed)


def test_late_calls_make_late_bursts_and_no_double_ones() -> None:
    async def script(field: SimField) -> None:
        field.devices["1"].lateness_s = (0.003, 0.003)
        host = await Host(field).connect()
        begin_s = await host.start("1", end_s=10.0)
        await asyncio.sleep(20.0)
        starts_s = [burst[0] for burst in field.carrier_log("1")]
        assert len(starts_s) == 10
        assert 0.003 - CLOCK_READING_S < starts_s[0] - begin_s <= 0.0061

    simulate(script)
