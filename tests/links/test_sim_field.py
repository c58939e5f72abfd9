"""Simulated devices do what real ones do: answer, feel, send, fall silent; the same each time."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blindfield.links.channel import Medium
from blindfield.links.client import DeviceClient
from blindfield.links.sim.bench import Bench
from blindfield.links.sim.board import CARRIER_HZ, SimClock
from blindfield.links.sim.field import (
    Seat,
    SimField,
    practice_seats,
    sim_device_id,
    sim_field_of,
    sim_key,
)
from blindfield.links.virtual_time import run_virtual
from blindfield.model.errors import ConfigError, LinkLost, Refused
from blindfield.model.field import Field, Post, Target
from fieldcore import message, wire
from fieldcore.compat import TICKS_MASK, ticks_diff
from support.hosting import ON_S, PERIOD_S, Host, simulate

KEY = bytes(range(32))
FELT_WITHIN_S = {"sharp": 0.003, "push": 0.15}
PULSE_WITHIN_S = 0.0005
CLOCK_WITHIN_US = 2


def test_simulated_field_is_a_bench_and_its_medium_a_medium() -> None:
    field = SimField(practice_seats(2, 1))
    bench: Bench = field  # the type checker's part of this test
    medium: Medium = field.medium("sim:practice")
    assert bench is field
    assert medium.url == "sim:practice"
    assert list(field.devices) == ["1", "2", "post"]


def test_hello_and_silence_travel_as_raw_frames() -> None:
    async def script(field: SimField) -> None:
        heard: list[tuple[int, bytes, float]] = []
        channel = (await field.medium().discover())[0]
        channel.on_frame = lambda *frame: heard.append(frame)
        with pytest.raises(LinkLost):
            channel.send(b"")
        await channel.open()
        sent_s = channel.send(message.pack(wire.HELLO, wire.MAJOR, wire.MINOR))
        await asyncio.sleep(0.01)
        [(address, body, host_s)] = heard
        values = message.unpack(body)
        assert address == 0
        assert values[0] == wire.HELLO_IS
        assert values[3] == sim_device_id(1, 0)
        assert 0.001 <= host_s - sent_s <= 0.004  # two ways of 0.5 to 2 ms
        channel.send(message.pack(wire.SILENCE), address=255)
        await asyncio.sleep(0.01)
        assert message.unpack(heard[-1][1]) == [wire.HAVE_DATA]

    simulate(script)


def test_every_device_tells_its_number_role_and_state() -> None:
    async def script(field: SimField) -> None:
        field.battery("2", 3456)
        host = await Host(field).connect()
        hellos = [client.hello for client in host.clients.values()]
        assert [hello and hello.role for hello in hellos] == [0, 0, 1]
        assert len({hello.device_id for hello in hellos if hello}) == 3
        status = await host.clients["2"].status()
        assert status["battery_mv"] == 3456
        assert not status["latched"]

    simulate(script, 2, 1)


def test_only_the_fields_own_key_opens() -> None:
    async def script(field: SimField) -> None:
        channel = (await field.medium().discover())[0]
        await channel.open()
        with pytest.raises(Refused):
            await DeviceClient(channel, sim_key(1)).connect()
        await DeviceClient(channel, KEY).connect()

    simulate(script, key=KEY)


@pytest.mark.parametrize("manner", ["sharp", "push"])
def test_strike_is_journaled_with_the_true_time_of_contact(manner: Any) -> None:
    async def script(field: SimField) -> None:
        host = await Host(field).connect()
        await host.clients["1"].sync(8)
        await asyncio.sleep(7.3)
        contact_s = field.probe("1", manner, 1.5)
        assert contact_s is not None
        assert contact_s == field.contact_s("1")
        assert contact_s > asyncio.get_running_loop().time()
        await asyncio.sleep(60.0)
        _, strike = await host.journal("1")
        span = await host.span("1", strike)
        assert span.best is not None
        assert abs(span.best - contact_s) <= FELT_WITHIN_S[manner]
        assert strike.data["shape"] == manner
        assert await host.kinds("2") == ["boot"]

    simulate(script, ppm_spread=80.0)


@pytest.mark.parametrize("manner", ["miss", "neighbour"])
def test_probe_beside_the_target_has_no_contact(manner: Any) -> None:
    async def script(field: SimField) -> None:
        host = await Host(field).connect()
        assert field.probe("1", manner) is None
        assert field.contact_s("1") is None
        await asyncio.sleep(10.0)
        assert await host.kinds("1") == ["boot"]

    simulate(script)


def test_acts_on_one_target_follow_one_another() -> None:
    async def script(field: SimField) -> None:
        host = await Host(field).connect()
        await asyncio.sleep(100.0)
        first_s, second_s = field.probe("1"), field.probe("1")
        assert first_s is not None
        assert second_s is not None
        assert second_s - first_s > 2.0
        await asyncio.sleep(10.0)
        assert await host.kinds("1") == ["boot", "strike", "strike"]

    simulate(script)


def test_target_sends_its_sheet_burst_by_burst() -> None:
    async def script(field: SimField) -> None:
        host = await Host(field).connect()
        begin_s = await host.start("1", end_s=20.5)
        await asyncio.sleep(15.0)
        assert field.sending("1")
        await asyncio.sleep(30.0)
        assert not field.sending("1")
        log = field.carrier_log("1")
        rate = field.devices["1"].board.clock.rate
        for number, (start_s, periods, aborted_s) in enumerate(log):
            assert start_s == pytest.approx(begin_s + number * PERIOD_S / rate, abs=0.003)
            assert abs(periods / CARRIER_HZ - ON_S) <= PULSE_WITHIN_S
            assert aborted_s is None
        assert len(log) == 21
        assert field.carrier_log("2") == []

    simulate(script)


def test_knock_silences_the_device_and_over_the_air_all_others() -> None:
    async def script(field: SimField) -> None:
        host = await Host(field).connect()
        await host.start("2")
        await asyncio.sleep(3.0)
        assert field.sending("2")
        assert field.knock("1") is not None
        await asyncio.sleep(6.0)
        assert not field.sending("2")
        assert (await host.kinds("1"))[-2:] == ["knock", "silenced"]
        for name, cause in {"1": "knock", "2": "air", "3": "air", "post": "air"}.items():
            assert (await host.clients[name].status())["latched"]
            assert (await host.journal(name))[-1].data["cause"] == cause
        bursts = len(field.carrier_log("2"))
        await asyncio.sleep(120.0)
        assert len(field.carrier_log("2")) == bursts

    simulate(script, 3, 1)


def test_air_reaches_only_devices_in_range() -> None:
    async def main() -> None:
        places = {"near": (40.0, 0.0), "far": (150.0, 0.0), "here": (0.0, 0.0), "unplaced": None}
        field = SimField([Seat(name, place=place) for name, place in places.items()])
        # nobody passes it on: the neighbour's own advertisement would reach further
        for name in ("near", "unplaced"):
            field.devices[name].board.on_advertise = lambda data: None
        field.start()
        field.devices["here"].press_button()
        await asyncio.sleep(2.0)
        latched = {n: d.core.journal.latched for n, d in field.devices.items() if d.core}
        assert latched == {"near": True, "far": False, "here": True, "unplaced": True}
        field.stop()

    run_virtual(main())


def test_lifting_a_target_is_told_as_dug_out_once() -> None:
    async def script(field: SimField) -> None:
        host = await Host(field).connect()
        field.lift("1")
        with pytest.raises(ConfigError, match="out of its hole already"):
            field.lift("1")
        await asyncio.sleep(20.0)
        assert await host.kinds("1") == ["boot", "dug_out"]
        field.put_back("1")
        with pytest.raises(ConfigError, match="lies in its hole"):
            field.put_back("1")
        await asyncio.sleep(20.0)
        assert await host.kinds("1") == ["boot", "dug_out"]
        field.probe("1", strength=1.5)  # and it feels as before
        await asyncio.sleep(20.0)
        assert await host.kinds("1") == ["boot", "dug_out", "strike"]

    simulate(script)


def _a_story(seed: int) -> Any:
    async def script(field: SimField) -> Any:
        host = await Host(field).connect()
        await host.start("1", end_s=30.0)
        field.probe("2", "push")
        field.knock("1")
        await asyncio.sleep(20.0)
        journals = [[one.raw for one in await host.journal(name)] for name in field.devices]
        return journals, field.carrier_log("1"), field.contact_s("2")

    return simulate(script, 2, 1, seed=seed)


def test_same_seed_tells_the_same_story_and_another_seed_another() -> None:
    story, other = _a_story(7), _a_story(8)
    assert story == _a_story(7)
    for part, other_part in zip(story, other, strict=True):
        assert part
        assert part != other_part


def test_devices_of_a_field_carry_its_ids_and_names() -> None:
    target = Target("Larch", b"target-L", 3.0, 4.0, 1.2)
    home = Path("home")
    place = Field(
        name="Larch Hollow", folder=home, media=("sim:",), key_path=home, logbook_path=home,
        targets=(target,), posts=(Post("hut", b"post-hut"),),
    )  # fmt: skip

    async def main() -> None:
        field = sim_field_of(place, KEY)
        host = await Host(field).connect()
        ids = {
            name: client.hello and client.hello.device_id for name, client in host.clients.items()
        }
        assert ids == {"Larch": b"target-L", "hut": b"post-hut"}
        field.stop()

    run_virtual(main())


def test_unknown_names_and_manners_are_told_with_those_there_are() -> None:
    async def script(field: SimField) -> None:
        with pytest.raises(ConfigError, match=r'no simulated device "9".*There are: 1, 2, post'):
            field.probe("9")
        with pytest.raises(ConfigError, match="Use sharp, push, miss, neighbour"):
            field.probe("1", "kick")  # type: ignore[arg-type]
        with pytest.raises(ConfigError, match="post: It is no target"):
            field.knock("post")

    simulate(script, 2, 1)


@given(
    ppm=st.floats(-200, 200), other=st.floats(-200, 200), phase_us=st.integers(0, TICKS_MASK),
    boot_s=st.floats(0, 1e6), wait_s=st.floats(0, 5000), on_s=st.floats(0, 500),
)  # fmt: skip
def test_clock_keeps_its_rate_over_wraps_and_does_not_jump_when_detuned(
    ppm: float, other: float, phase_us: int, boot_s: float, wait_s: float, on_s: float
) -> None:
    clock = SimClock(ppm)
    clock.boot(boot_s, phase_us)
    then_s = boot_s + wait_s
    before_us = clock.ticks_us(then_s)
    assert 0 <= before_us <= TICKS_MASK
    clock.detune(then_s, other)
    assert abs(ticks_diff(clock.ticks_us(then_s), before_us)) <= CLOCK_WITHIN_US
    passed_us = ticks_diff(clock.ticks_us(then_s + on_s), before_us)
    assert abs(passed_us - on_s * (1e6 + other)) <= CLOCK_WITHIN_US
