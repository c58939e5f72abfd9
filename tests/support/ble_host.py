"""The host on the virtual radio: the medium, and a client for each device."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from random import Random
from typing import Any

from blindfield.links.ble_channel import BleChannel
from blindfield.links.ble_medium import BleMedium
from blindfield.links.ble_radio import BleRadio
from blindfield.links.client import DeviceClient
from blindfield.links.records import JournalRecord, decode
from blindfield.links.rig.body import BLOCK_FRAMES, PERIOD_US, BuriedBody
from blindfield.model.messages import SHEET_BYTES
from fieldcore import sheet as sheets
from fieldcore import wire
from fieldcore.instant import split_us, total_us
from support.ble_backend import Central
from support.ble_field import KEY, BleField

RUN_ID = b"ble run!"
ALWAYS = [[wire.CUE_AT, 0, 0, True]]
WAIT_S = 5.0
AFTER_S = 0.4
_PART_BYTES = 96


async def until(true: Any, wait_s: float = WAIT_S) -> None:
    """Wait for something that a device process does in its own time."""
    async with asyncio.timeout(wait_s):
        while not true():
            await asyncio.sleep(0.005)


@dataclass
class BleHost:
    """`clients` and `channels` by the device's name in the field."""

    air: BleField
    central: Central
    medium: BleMedium
    channels: dict[str, BleChannel] = field(default_factory=dict)
    clients: dict[str, DeviceClient] = field(default_factory=dict)

    async def connect(self) -> BleHost:
        numbers = {target.device_id.hex(): name for name, target in self.air.targets.items()}
        found = await self.medium.discover()
        for channel in found:
            assert isinstance(channel, BleChannel)
            name = numbers[channel.name.rpartition(" ")[2]]
            self.channels[name] = channel
            self.clients[name] = DeviceClient(channel, KEY, name=name)
        await asyncio.gather(*(client.connect() for client in self.clients.values()))
        return self

    async def start(
        self, name: str, *, cues: Any = None, in_ms: int = 50, end_s: float = 60.0,
        period_us: int = 700_000,
    ) -> None:  # fmt: skip
        """Load and start one sheet, which sends always unless `cues` say otherwise."""
        client = self.clients[name]
        assert client.hello is not None
        cues = ALWAYS if cues is None else cues
        end_ms = round(1000 * end_s)
        fields = [client.hello.device_id, RUN_ID, 1, period_us, 100_000, 0, end_ms, end_ms, cues]
        data = sheets.write(sheets.Sheet(fields))
        for offset in range(0, SHEET_BYTES, _PART_BYTES):
            await client.request("load", 0, offset, data[offset : offset + _PART_BYTES])
        await client.request("commit", 0, sheets.digest(data), 0)
        now = await client.request("clock")
        at_us = total_us(now["lap"], now["ms"], now["us"]) + 1000 * in_ms
        await client.request("start", 0, *split_us(at_us), 0, 0)

    async def journal(self, name: str) -> list[JournalRecord]:
        """All records, oldest first."""
        client, found = self.clients[name], []
        journal_id, last_seq, raw = await client.fetch(0, 0)
        while raw:
            found += [decode(record) for record in raw]
            journal_id, last_seq, raw = await client.fetch(journal_id, found[-1].seq)
        assert found[-1].seq == last_seq
        return found


@asynccontextmanager
async def ble_host(
    air: BleField, *, most: int = 7, central: Central | None = None, connect: bool = True
) -> AsyncIterator[BleHost]:
    """A host that has met every device of the field."""
    central = central or await air.central()
    expected = [target.device_id for target in air.targets.values()]
    radio = BleRadio(central.scanner, central.client)
    host = BleHost(air, central, BleMedium("ble:", most=most, expected=expected, radio=radio))
    try:
        yield await host.connect() if connect else host
    finally:
        await host.medium.close()


async def strike(air: BleField, name: str, seed: int = 1, ago_s: float = 0.0) -> float:
    """A sharp probe, told `ago_s` late; the host time of its contact, AFTER_S before its end."""
    frames, onset_s = BuriedBody(Random(seed)).feel("sharp")
    assert onset_s is not None
    del frames[round((onset_s + AFTER_S) * 1e6 / PERIOD_US) :]
    begin_s = asyncio.get_running_loop().time() - len(frames) * PERIOD_US / 1e6 - ago_s
    for first in range(0, len(frames), BLOCK_FRAMES):
        values = [v for frame in frames[first : first + BLOCK_FRAMES] for v in frame]
        data = b"".join(v.to_bytes(2, "little", signed=True) for v in values)
        at_us = round(begin_s * 1e6) + first * PERIOD_US
        air.tell(name, do="feel", at=at_us, period=PERIOD_US, frames=data.hex())
        await asyncio.sleep(0.002)  # a device has room for a few blocks
    return begin_s + onset_s
