"""The rig's shared pair: true firmware under MicroPython, reached as a user would."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from blindfield.links.bus_medium import BusChannel, BusMedium
from blindfield.links.client import DeviceClient
from blindfield.links.keyfile import read_key
from blindfield.links.medium import open_medium
from blindfield.links.records import decode
from blindfield.links.rig.bus_rig import BusRig
from blindfield.model.errors import LinkLost
from support.interpreters import micropython

WAIT_S = 8.0


@dataclass
class Hut:
    """A rig on a bus, and a host with a client for each device by its name."""

    rig: BusRig
    medium: BusMedium
    clients: dict[str, DeviceClient]

    async def kinds(self, name: str) -> list[str]:
        """Of the device's records, a silence with its cause."""
        _, _, raw = await self.clients[name].fetch(0, 0)
        found = [decode(record) for record in raw]
        return [f"{r.kind} {r.data['cause']}" if r.kind == "silenced" else r.kind for r in found]

    async def latched(self, name: str) -> bool:
        return bool((await self.clients[name].status())["latched"])


@asynccontextmanager
async def hut(folder: Path, **how: Any) -> AsyncIterator[Hut]:
    micropython()  # absent, where there is none
    rig = BusRig(folder, **how)
    await rig.start()
    place = rig.field()
    medium = open_medium(place.media[0], folder)
    assert isinstance(medium, BusMedium)
    medium.bus.troubles.on_notice = lambda _sentence: (
        None
    )  # a busy machine looks like a slow adapter
    try:
        clients = {}
        for channel in await medium.discover():
            assert isinstance(channel, BusChannel)
            device = place.by_device_id(channel.seat.number)
            assert device is not None
            key = read_key(folder / "field.key")
            clients[device.name] = DeviceClient(channel, key, name=device.name)
            await clients[device.name].connect()
        yield Hut(rig, medium, clients)
    finally:
        await medium.close()
        await rig.stop()


def test_a_field_on_one_pair_is_found_asked_probed_pressed_and_silenced(tmp_path: Path) -> None:
    async def main() -> None:
        async with hut(tmp_path, targets=3) as here:
            rig, clients = here.rig, here.clients
            assert sorted(clients) == ["1", "2", "3", "post"]
            assert {client.hello.board for client in clients.values() if client.hello} == {"unix"}
            assert len({str(rig.port(name)) for name in clients}) == 1
            hints: list[str] = []
            clients["2"].on_data = lambda: hints.append("2")
            rig.probe("2")
            rig.press("1")  # tells nobody by itself: it has no radio, and may not speak unasked
            async with asyncio.timeout(WAIT_S):
                while not hints or "strike" not in await here.kinds("2"):
                    await asyncio.sleep(0.05)
            assert (await here.kinds("1"))[-1] == "silenced button"
            assert [await here.latched(name) for name in ("2", "3", "post")] == [False] * 3
            rig.press("post")
            await asyncio.sleep(0.1)
            assert (await here.kinds("3"))[-1] == "silenced break"
            assert (await here.kinds("post"))[-1] == "silenced button"
            assert [await here.latched(name) for name in clients] == [True] * 4
            assert not any(device["off"] for device in rig.state())

    asyncio.run(main())


def test_the_rigs_faults_reach_devices_on_the_pair(tmp_path: Path) -> None:
    async def main() -> None:
        async with hut(tmp_path, targets=3, posts=0) as here:
            rig, clients = here.rig, here.clients
            before = clients["1"].hello
            rig.reboot("1")
            await rig.quiet()
            status = await clients["1"].status()
            assert before is not None
            assert status["clock_id"] != before.clock_id
            rig.cut_link("2")
            with pytest.raises(LinkLost):
                await clients["2"].request("status", timeout_s=0.3)
            rig.mend_link("2")
            rig.noise(0.002)
            for client in clients.values():
                await client.sync(10)
            await here.medium.silence_all()
            assert [await here.latched(name) for name in clients] == [True] * 3
            rig.babble("3")
            assert [device["babbles"] for device in rig.state()] == [False, False, True]
            rig.babble("3", on=False)
            assert not rig.state()[2]["babbles"]

    asyncio.run(main())
