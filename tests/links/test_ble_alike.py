"""More devices than connections: who is held, when and how long tells nothing of who matters."""

from __future__ import annotations

import asyncio

import pytest

pytest.importorskip("bumble")

from blindfield.links.ble_medium import BleMedium
from blindfield.links.ble_radio import BleRadio
from blindfield.links.ble_turns import DWELL_S
from blindfield.links.client import DeviceClient
from blindfield.links.virtual_time import run_virtual
from blindfield.model.errors import LinkError
from fieldcore import wire
from support.ble_air import Air
from support.ble_backend import Central
from support.ble_way import BleWay
from support.every_medium import now_s
from support.memory_link import KEY

DEVICES, MOST, RUN_S, POLL_S = 5, 2, 120.0, 2.0
SAMPLE_S = 0.05


async def attend(client: DeviceClient) -> None:
    """As the conductor does: asks now and then, and fetches at a hint."""
    hint = asyncio.Event()
    client.on_data = hint.set
    while True:
        try:
            async with asyncio.timeout(POLL_S):
                await hint.wait()
        except TimeoutError:
            pass
        hint.clear()
        try:
            await client.status()
            await client.fetch(0, 0)
        except LinkError:
            await client.connect()


async def strike(way: BleWay) -> None:
    while True:
        await asyncio.sleep(1.7)
        with way.held() as device:
            device.note(wire.EVENT_STRIKE, bytes(8))
            device._hint()


async def watched(struck: set[int]) -> tuple[list[float], list[int]]:
    """A stranger's view of each device: for how long it was held in all, and how often."""
    air = Air()
    ways = [BleWay(air, b"alike-%02d" % number) for number in range(DEVICES)]
    for way in ways:
        await way.up()
    central = await Central(air).power_on()
    wanted = [way.board.device_id for way in ways]
    medium = BleMedium(
        "ble:", most=MOST, expected=wanted, radio=BleRadio(central.scanner, central.client)
    )
    clients = [DeviceClient(channel, KEY) for channel in await medium.discover()]
    await asyncio.gather(*(client.connect() for client in clients))
    tasks = [asyncio.create_task(attend(client)) for client in clients]
    tasks += [asyncio.create_task(strike(ways[number])) for number in struck]
    held_s, times, before = [0.0] * DEVICES, [0] * DEVICES, [False] * DEVICES
    end_s = now_s() + RUN_S
    while now_s() < end_s:
        await asyncio.sleep(SAMPLE_S)
        for number, way in enumerate(ways):
            holds = bool(way.radio.connections)
            held_s[number] += SAMPLE_S * holds
            times[number] += holds and not before[number]
            before[number] = holds
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
    await medium.close()
    for way in ways:
        await way.close()
    return held_s, times


def test_devices_with_much_to_say_are_held_as_the_others_are() -> None:
    held_s, times = run_virtual(watched({0, 3}))
    assert min(times) > RUN_S * MOST / DEVICES / DWELL_S / 2
    assert max(times) - min(times) <= 2  # a turn under way at either end
    assert max(held_s) - min(held_s) <= 2 * DWELL_S
