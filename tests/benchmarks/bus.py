"""The shared pair with 32 devices, and with true firmware: `python tests/benchmarks/bus.py`.

The 32 are CPython cores with the firmware's own bus link on a simulated wire at 115200 Bd, in
virtual time, an adapter that keeps bytes back for 1 ms and devices that take 0.3 ms to answer
(assumed). The processes are MicroPython on the rig's pair, in this machine's real time. Then
changed frames against a device behind every medium.
"""

from __future__ import annotations

import asyncio
import os
import platform
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "firmware"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from blindfield.links.bus_medium import BusMedium
from blindfield.links.channel import BROADCAST
from blindfield.links.client import DeviceClient
from blindfield.links.keyfile import read_key
from blindfield.links.medium import open_medium
from blindfield.links.rig.bus_rig import BusRig
from blindfield.links.rig.seat import CARRIER_HZ
from fieldcore import frame, message, wire
from support.bus_field import BusField, now_s, on_bus
from support.every_medium import WAYS, Way, on_way
from support.mutations import set_sheet, stand_mutations

DEVICES = 32
PROCESSES = 32
SILENCES = 40
MUTATIONS = 100_000
SILENCE = frame.encode(BROADCAST, message.pack(wire.SILENCE))


def most(times_s: Sequence[float]) -> str:
    return f"p50 {1000 * statistics.median(times_s):5.1f} ms, most {1000 * max(times_s):5.1f} ms"


# 32 devices, virtual time


async def idle(field: BusField) -> None:
    begun_s = now_s()
    clients = await field.clients()
    print(f"  found, seated and opened: {now_s() - begun_s:.2f} s")
    rounds = []
    for _ in range(40):
        await asyncio.sleep(0.25)
        rounds.append(field.medium.bus.round_s)
    print(f"  idle poll round: {most(rounds)} (to hold: 250 ms)")
    begun_s = now_s()
    await asyncio.gather(*(client.status() for client in clients))
    print(f"  sealed status of all: {1000 * (now_s() - begun_s):.0f} ms")


async def silences(field: BusField) -> None:
    """Each while all are being asked at once."""
    clients = await field.clients()
    rng = random.Random(2)
    found = [await one_silence(field, clients, rng.uniform(0.005, 0.2)) for _ in range(SILENCES)]
    called, framed, unheard = zip(*found, strict=True)
    print(f"  silence, from the call to the last carrier off:        {most(called)}")
    print(f"  silence, from its first frame to the last carrier off: {most(framed)} (to hold: 100)")
    print(f"  heard none of the three: {sum(unheard)} of {SILENCES * len(field.devices)}")


async def one_silence(
    field: BusField, clients: list[DeviceClient], after_s: float
) -> tuple[float, float, int]:
    """Seconds from the call, seconds from the first frame's begin, how many did not hear it."""
    first_s: list[float] = []
    tap = field.devices[0].tap
    hear = tap.on_bytes

    def heard(data: bytes) -> None:
        if SILENCE in data:
            first_s.append(now_s() - len(data) * field.pair.byte_s)
        hear(data)

    asking = [asyncio.create_task(client.fetch(0, 0)) for client in clients]
    await asyncio.sleep(after_s)
    for device in field.devices:
        device.silenced_s = None
    tap.on_bytes = heard
    begun_s = now_s()
    await field.medium.silence_all()
    tap.on_bytes = hear
    offs = [d.silenced_s for d in field.devices if d.silenced_s is not None]
    await asyncio.gather(*asking, return_exceptions=True)
    unheard = len(field.devices) - len(offs)
    return max(offs) - begun_s, max(offs) - min(first_s, default=begun_s), unheard


# True firmware, real time


async def processes() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        rig = BusRig(folder, targets=PROCESSES, posts=0)
        await rig.start()
        medium = open_medium(rig.field().media[0], folder)
        assert isinstance(medium, BusMedium)
        try:
            await processes_on(rig, medium)
        finally:
            await medium.close()
            await rig.stop()


async def processes_on(rig: BusRig, medium: BusMedium) -> None:
    begun_s = now_s()
    channels = await medium.discover()
    key = read_key(rig.folder / "field.key")
    clients = [DeviceClient(channel, key) for channel in channels]
    await asyncio.gather(*(client.connect() for client in clients))
    print(f"  found, seated and opened: {now_s() - begun_s:.2f} s")
    adapter_s = medium.bus.adapter_s
    assert adapter_s is not None
    print(f"  an answer's delay beyond its bytes: {1000 * adapter_s:.1f} ms")
    rounds = []
    for _ in range(40):
        await asyncio.sleep(0.25)
        rounds.append(medium.bus.round_s)
    print(f"  idle poll round: {most(rounds)}")
    offs = []
    for _ in range(3):
        await asyncio.gather(*(set_sheet(client, ahead_ms=300 * PROCESSES) for client in clients))
        names = [device["name"] for device in rig.state()]
        while not all(rig.sending(name) for name in names):
            await asyncio.sleep(0.05)
        asking = [asyncio.create_task(client.fetch(0, 0)) for client in clients]
        begun_s = now_s()
        await medium.silence_all()
        await asyncio.sleep(1.5)
        assert not any(rig.sending(name) for name in names)
        offs.append(max(off_s(rig, name) - begun_s for name in names))
        await asyncio.gather(*asking)
        for client in clients:
            count = (await client.status())["silence_count"]
            await client.request("rearm", count)
            await client.request("clear", 0)
    # A field whose bursts had all just ended by themselves counts as off before the call.
    print(f"  silence, from the call to the last carrier off: {most(offs)} (3 times)")


def off_s(rig: BusRig, name: str) -> float:
    """When the last burst of a device was over."""
    start_s, periods, cut_s = rig.carrier_log(name)[-1]
    return start_s + periods / CARRIER_HZ if cut_s is None else cut_s


# Changed frames


async def mutate(way: Way) -> int:
    return await stand_mutations(way, MUTATIONS)


def main() -> None:
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}")
    for noise in (0.0, 0.001):
        print(
            f"{DEVICES} devices, one byte in {1 / noise:.0f} garbled"
            if noise
            else f"{DEVICES} devices"
        )
        on_bus(DEVICES, idle, noise=noise)
        on_bus(DEVICES, silences, noise=noise)
    print(f"{PROCESSES} MicroPython processes on the rig's pair")
    asyncio.run(processes())
    print(f"{MUTATIONS} changed frames")
    for kind in WAYS:
        begun_s = time.monotonic()
        refused = on_way(kind, mutate)
        wall_s = time.monotonic() - begun_s
        print(f"  {kind}: none obeyed, no change ({refused} refused mod 65536); {wall_s:.0f} s")


if __name__ == "__main__":
    main()
