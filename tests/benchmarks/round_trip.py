"""Sealed round trips and a common start on a rig of six: `python tests/benchmarks/round_trip.py`.

Real firmware in six processes on six pseudo-terminals, through links.client.DeviceClient, as a
field would be driven; the machine's figures, not a board's. The start spread is what the devices'
carriers truly did, told over the bench socket in the machine's own monotonic time.
"""

from __future__ import annotations

import asyncio
import os
import platform
import statistics
import tempfile
from contextlib import AsyncExitStack
from pathlib import Path

from blindfield.links.client import DeviceClient
from blindfield.links.keyfile import read_key
from blindfield.links.rig.rig import Rig
from blindfield.links.serial_medium import SerialChannel
from fieldcore import sheet, wire
from fieldcore.instant import split_us

DEVICES = 6
ROUNDS = 500
STARTS = 5
AHEAD_S = 1.0
BURST = 8


def spread_of(times_s: list[float]) -> str:
    ordered = sorted(time_s * 1e6 for time_s in times_s)
    p99 = ordered[min(len(ordered) - 1, int(len(ordered) * 0.99))]
    return f"p50 {statistics.median(ordered):6.0f} us, p99 {p99:6.0f}, most {ordered[-1]:6.0f}"


async def ask_often(client: DeviceClient, message: str, rounds: int) -> list[float]:
    loop = asyncio.get_running_loop()
    taken_s = []
    for _ in range(rounds):
        begun_s = loop.time()
        await client.request(message)
        taken_s.append(loop.time() - begun_s)
    return taken_s


async def round_trips(clients: list[DeviceClient]) -> None:
    for message in ("clock", "status"):
        alone_s = await ask_often(clients[0], message, ROUNDS)
        print(f"{message:6} to one device           {spread_of(alone_s)}")
        each_s = await asyncio.gather(*(ask_often(c, message, ROUNDS) for c in clients))
        all_s = [time_s for times_s in each_s for time_s in times_s]
        print(f"{message:6} to {len(clients)} at the same time    {spread_of(all_s)}")
    retries = sum(client.retries for client in clients)
    print(f"frames sent again: {retries}")


async def load(client: DeviceClient, slot: int) -> None:
    assert client.hello is not None
    cues = [[wire.CUE_AT, 0, 0, True]]
    run_id = bytes((slot,)) * 8
    fields = [client.hello.device_id, run_id, 1, 1_000_000, 80_000, 0, 60_000, 60_000, cues]
    data = sheet.write(sheet.Sheet(fields))
    for offset in range(0, len(data), 64):
        await client.request("load", slot, offset, data[offset : offset + 64])
    await client.request("commit", slot, sheet.digest(data), 0)


async def start(client: DeviceClient, slot: int, at_s: float) -> None:
    await client.request("start", slot, *split_us(client.clock.to_device(at_s)), 0, 0)


async def starts(rig: Rig, clients: list[DeviceClient]) -> None:
    late_s: list[float] = []
    spreads_s: list[float] = []
    for slot in range(STARTS):
        await asyncio.gather(*(load(client, slot) for client in clients))
        await asyncio.gather(*(client.sync(BURST) for client in clients))
        seen = [len(rig.carrier_log(client.name)) for client in clients]
        at_s = asyncio.get_running_loop().time() + AHEAD_S
        await asyncio.gather(*(start(client, slot, at_s) for client in clients))
        await asyncio.sleep(AHEAD_S + 0.3)
        first_s = [
            rig.carrier_log(client.name)[count][0]
            for client, count in zip(clients, seen, strict=True)
        ]
        late_s += [time_s - at_s for time_s in first_s]
        spreads_s.append(max(first_s) - min(first_s))
        await asyncio.gather(*(client.request("end", slot) for client in clients))
    print(f"first pulse, late by            {spread_of(late_s)}")
    print(f"first to last device of a start {spread_of(spreads_s)} ({STARTS} starts)")


async def main() -> None:
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}")
    async with AsyncExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        rig = Rig(folder, targets=DEVICES, posts=0)
        await rig.start()
        stack.push_async_callback(rig.stop)
        clients = []
        for target in rig.field().targets:
            channel = SerialChannel(str(rig.port(target.name)))
            await channel.open()
            stack.push_async_callback(channel.close)
            clients.append(DeviceClient(channel, read_key(folder / "field.key"), name=target.name))
            await clients[-1].connect()
        await round_trips(clients)
        await starts(rig, clients)


if __name__ == "__main__":
    asyncio.run(main())
