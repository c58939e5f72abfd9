"""Simulated devices do what real ones do: answer, feel, send, fall silent; the same each time."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any

import pytest

from blindfield.links.channel import Medium
from blindfield.links.client import DeviceClient
from blindfield.links.sim.bench import Bench
from blindfield.links.sim.field import (
    AIR_REPEATS_S,
    SimField,
    practice_seats,
    sim_device_id,
    sim_key,
)
from blindfield.links.virtual_time import run_virtual
from blindfield.model.errors import ConfigError, LinkLost, Refused
from fieldcore import message, wire
from support.hosting import Host

KEY = bytes(range(32))
FELT_WITHIN_S = 0.005  # the detector's window and the clock map together
AIR_S = AIR_REPEATS_S[-1] + 0.1
CARRIER_WITHIN_S = 0.001


def simulate(
    script: Callable[[SimField], Awaitable[Any]], targets: int = 2, posts: int = 0, **options: Any
) -> Any:
    """Run `script` over a new SimField on virtual time."""

    async def main() -> Any:
        field = SimField(practice_seats(targets, posts), **options)
        try:
            return await script(field)
        finally:
            field.stop()

    return run_virtual(main())


def test_simulated_field_is_a_bench_and_its_medium_a_medium() -> None:
    field = SimField(practice_seats())
    bench: Bench = field
    medium: Medium = field.medium()
    assert bench.carrier_log is not None
    assert medium.url == "sim:"


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
        await asyncio.sleep(60.0)
        [strike] = [record for record in await host.journal("1") if record.kind == "strike"]
        span = await host.span("1", strike)
        assert span.best is not None
        assert abs(span.best - contact_s) <= (FELT_WITHIN_S if manner == "sharp" else 0.5)
        assert await host.kinds("2") == ["boot"]

    simulate(script)


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
        first_s, second_s = field.probe("1"), field.probe("1")
        assert first_s is not None
        assert second_s is not None
        assert second_s - first_s > 2.0
        await asyncio.sleep(10.0)
        assert await host.kinds("1") == ["boot", "strike", "strike"]

    simulate(script)


def test_knock_silences_the_device_and_over_the_air_all_others() -> None:
    async def script(field: SimField) -> None:
        host = await Host(field).connect()
        await host.start("2")
        await asyncio.sleep(3.0)
        assert field.sending("2")
        knock_s = field.knock("1")
        assert knock_s is not None
        await asyncio.sleep(6.0)
        assert await host.kinds("1") == [
            "boot",
            *["strike"] * 0,
            *_strikes(host),
            "knock",
            "silenced",
        ]

    simulate(script, 3, 1)


def test_lift_is_told_as_dug_out_and_again_after_it_was_put_back() -> None:
    async def script(field: SimField) -> None:
        host = await Host(field).connect()
        for _ in range(2):
            field.lift("1")
            with pytest.raises(ConfigError, match="out of its hole already"):
                field.lift("1")
            await asyncio.sleep(60.0)
            field.put_back("1")
            await asyncio.sleep(60.0)
            field.probe("1", "miss")  # something moves: the detector looks again
            await asyncio.sleep(60.0)
        assert (await host.kinds("1")).count("dug_out") == 2

    simulate(script)
