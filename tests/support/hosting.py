"""A host for tests of simulated devices: clients by name, whole runs, journals as decoded."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from dataclasses import dataclass, field
from typing import Any

from blindfield.links.client import DeviceClient
from blindfield.links.records import JournalRecord, decode
from blindfield.links.sim.field import SimField, practice_seats
from blindfield.links.virtual_time import run_virtual
from blindfield.model.messages import SHEET_BYTES
from blindfield.model.span import Span
from fieldcore import sheet as sheets
from fieldcore import wire
from fieldcore.instant import split_us, total_us

RUN_ID = b"run-0001"
PERIOD_S, ON_S = 1.0, 0.1
ALWAYS = [[wire.CUE_AT, 0, 0, True]]
_PART_BYTES = 96


@dataclass
class Host:
    """Every device of a SimField, connected."""

    bench: SimField
    clients: dict[str, DeviceClient] = field(default_factory=dict)

    async def connect(self) -> Host:
        channels = await self.bench.medium().discover()
        for name, channel in zip(self.bench.devices, channels, strict=True):
            await channel.open()
            self.clients[name] = DeviceClient(channel, self.bench.key, name=name)
            await self.clients[name].connect()
        return self

    async def start(
        self, name: str, *, end_s: float = 60.0, lease_s: float = 60.0,
        cues: list[list[Any]] | None = None, in_ms: int = 500,
    ) -> float:  # fmt: skip
        """Load, commit and start one sheet, to begin in `in_ms`; when it begins at the latest."""
        client = self.clients[name]
        assert client.hello is not None
        count = (await client.status())["silence_count"]
        keying_us = round(PERIOD_S * 1e6), round(ON_S * 1e6), 0
        times_ms = round(lease_s * 1000), round(end_s * 1000)
        data = sheets.write(
            sheets.Sheet([client.hello.device_id, RUN_ID, 1, *keying_us, *times_ms, cues or ALWAYS])
        )
        for offset in range(0, SHEET_BYTES, _PART_BYTES):
            await client.request("load", 0, offset, data[offset : offset + _PART_BYTES])
        await client.request("commit", 0, sheets.digest(data), count)
        now = await client.request("clock")
        rate = self.bench.devices[name].board.clock.rate
        latest_s = asyncio.get_running_loop().time() + in_ms / 1000 / rate
        begin_us = total_us(now["lap"], now["ms"], now["us"]) + 1000 * in_ms
        await client.request("start", 0, *split_us(begin_us), 0, count)
        return latest_s

    async def journal(self, name: str) -> list[JournalRecord]:
        """All records, oldest first."""
        client, found = self.clients[name], []
        journal_id, after = 0, 0
        while True:
            journal_id, last_seq, records = await client.fetch(journal_id, after)
            found += [decode(record) for record in records]
            if not records or found[-1].seq == last_seq:
                return found
            after = found[-1].seq

    async def kinds(self, name: str) -> list[str]:
        return [record.kind for record in await self.journal(name)]

    async def span(self, name: str, record: JournalRecord) -> Span:
        """Host time of a record of a clock met, with one more look at that clock."""
        client = self.clients[name]
        await client.sync(8)
        known = client.clocks.map_of(record.clock_id)
        assert known is not None
        return known.to_host(total_us(record.lap, record.ms, record.us))


def simulate(
    script: Callable[[SimField], Coroutine[Any, Any, Any]], targets: int = 2, posts: int = 0,
    **options: Any,
) -> Any:  # fmt: skip
    """Run `script` over a new SimField on virtual time; what it gives."""

    async def main() -> Any:
        bench = SimField(practice_seats(targets, posts), **options)
        try:
            return await script(bench)
        finally:
            bench.stop()

    return run_virtual(main())
