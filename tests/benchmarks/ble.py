"""Bluetooth on the virtual radio: `python tests/benchmarks/ble.py [--short]`.

Real firmware under MicroPython, a real BLE host stack on the air (bumble), the host through bleak.
No radio timing is modelled: the figures are this machine's work, beside the raw stack's own for the
same bytes, and say nothing of real radios.
"""

import asyncio
import logging
import os
import platform
import random
import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "firmware"))

from bumble import gatt
from bumble.device import Peer

from blindfield.links.link import DeviceLink, LinkState
from blindfield.links.virtual_time import run_virtual
from fieldcore import frame, message, wire
from support.ble_air import Air, radio_on
from support.ble_clock import EVENTS, known_after_a_run
from support.ble_field import ble_field
from support.ble_host import BleHost, ble_host, strike, until

SHORT = "--short" in sys.argv
ROUNDS = 100 if SHORT else 500
LINKS = 7
MANY = 32
MUTANTS = 2_000 if SHORT else 100_000
CUT_S = 3.0 if SHORT else 60.0
PAYLOAD = 30  # bytes of a status request, about


def spread(times_s: list[float]) -> str:
    ordered = sorted(1e3 * time_s for time_s in times_s)
    p99 = ordered[min(len(ordered) - 1, int(len(ordered) * 0.99))]
    return f"p50 {statistics.median(ordered):7.2f} ms, p99 {p99:7.2f} ms"


async def raw_stack() -> None:
    """Write and notification between two bumble hosts: nothing of ours."""
    air = Air()
    _, central = radio_on(air, "central", "C0:00:00:00:01:00")
    controller, echo = radio_on(air, "echo", "F0:00:00:00:01:00")
    kinds = gatt.Characteristic.Properties
    out = gatt.Characteristic("2A6E", kinds.NOTIFY, gatt.Characteristic.READABLE, b"")

    async def answer(connection: object, value: bytes) -> None:
        await echo.notify_subscriber(connection, out, value, force=True)  # type: ignore[arg-type]

    value = gatt.CharacteristicValue(write=answer)
    into = gatt.Characteristic(
        "2A6D", kinds.WRITE_WITHOUT_RESPONSE, gatt.Characteristic.WRITEABLE, value
    )
    echo.add_service(gatt.Service("181A", [into, out]))
    await echo.power_on()
    await central.power_on()
    controller.le_legacy_advertiser.begin(20, b"\x02\x01\x06", b"", True)
    peer = Peer(await central.connect("F0:00:00:00:01:00"))
    await peer.discover_all()
    heard: asyncio.Queue[bytes] = asyncio.Queue()
    (listened,) = peer.get_characteristics_by_uuid(out.uuid)
    (written,) = peer.get_characteristics_by_uuid(into.uuid)
    await listened.subscribe(heard.put_nowait)
    taken_s = []
    for _ in range(ROUNDS):
        begun_s = time.perf_counter()
        await written.write_value(bytes(PAYLOAD), with_response=False)
        await heard.get()
        taken_s.append(time.perf_counter() - begun_s)
    print(f"raw stack, 1 link:            {spread(taken_s)}")


async def asked(host: BleHost, name: str) -> list[float]:
    taken_s = []
    for _ in range(ROUNDS):
        begun_s = time.perf_counter()
        await host.clients[name].status()
        taken_s.append(time.perf_counter() - begun_s)
    return taken_s


async def round_trips(folder: Path) -> None:
    async with ble_field(folder, LINKS, hurry=1) as air, ble_host(air) as host:
        print(f"status, 1 of {LINKS} links:         {spread(await asked(host, '1'))}")
        each = await asyncio.gather(*(asked(host, name) for name in host.clients))
        print(f"status, {LINKS} links at once:      {spread([t for times in each for t in times])}")
        print(f"  sent again: {sum(client.retries for client in host.clients.values())}")


async def listing(folder: Path) -> None:
    async with ble_field(folder, MANY, hurry=1) as air, ble_host(air, connect=False) as host:
        begun_s = time.perf_counter()
        found = await host.medium.discover()
        took_s = time.perf_counter() - begun_s
        print(f"{len(found)} of {MANY} awake devices listed in {took_s:.2f} s (<= 3 s wanted)")


async def silence(folder: Path) -> None:
    """Eight sending: 7 held by a hostile central, 8 out of range, as in the suite's test."""
    async with ble_field(folder, 8, hurry=1) as air, ble_host(air, most=8) as host:
        for name in host.clients:
            await host.start(name, in_ms=400, end_s=300.0)
        await until(lambda: all(target.pulses for target in air.targets.values()))
        hostile = await air.central("hostile")
        await host.channels["7"].close()
        await hostile.device.connect(air.boards["7"].address, timeout=5)
        await air.lose("8")
        begun_s = time.perf_counter()
        await host.medium.silence_all()
        await asyncio.gather(*(host.clients[name].status() for name in "123456"))
        print(f"silence: 6 of 8 confirmed after {time.perf_counter() - begun_s:.3f} s", end=", ")
        held = air.boards["7"].controller.le_legacy_advertiser
        await until(lambda: held.enabled and not held.connectable, 20)
        print(f"the held one by air after {time.perf_counter() - begun_s:.2f} s", end=", ")
        print(f"not reached: {', '.join(host.medium.unreached)}")


async def mutants(folder: Path) -> None:
    async with ble_field(folder, 1, hurry=1) as air, ble_host(air) as host:
        line = host.channels["1"]._wire
        assert line is not None
        draw = random.Random(7)
        sealed = message.pack(wire.REQUEST, 1000, b"\x81\x10", bytes(8))
        bodies = [message.pack(wire.SILENCE), message.pack(wire.HELLO, 1, 0), sealed]
        before = await host.clients["1"].status()
        begun_s = time.perf_counter()
        for number in range(MUTANTS):
            good = frame.encode(1, draw.choice(bodies))
            data = bytearray(good)
            while data == good:
                for _ in range(draw.choice((1, 1, 2, 3))):
                    data[draw.randrange(len(data) - 1)] ^= 1 << draw.randrange(8)
            await line.write(bytes(data))
            if number % 1000 == 0:
                await host.clients["1"].status()  # so that the link is kept
        after = await host.clients["1"].status()
        kept = ("clock_id", "silence_count", "latched", "state", "last_seq", "refusals")
        changed = [name for name in kept if after[name] != before[name]]
        took_s = time.perf_counter() - begun_s
        print(f"{MUTANTS} mutated frames in {took_s:.0f} s: changed {changed or 'nothing'}")


async def cut(folder: Path) -> None:
    async with ble_field(folder, 1, hurry=1) as air, ble_host(air) as host:
        link = DeviceLink(host.clients["1"])
        running = asyncio.create_task(link.run())
        await link.wait_up(5)
        await host.clients["1"].sync(8)
        await host.start("1", end_s=300.0)
        contacts_s = [await strike(air, "1", seed=1)]
        await asyncio.gather(air.lose("1"), asyncio.sleep(CUT_S / 3))
        for seed in (2, 3):
            await asyncio.sleep(CUT_S / 3)
            contacts_s.append(await strike(air, "1", seed=seed))
        await until(lambda: link.state is LinkState.LOST)
        air.find("1")
        begun_s = time.perf_counter()
        await link.wait_up(30)
        print(f"link back {time.perf_counter() - begun_s:.2f} s after a cut of {CUT_S:.0f} s")
        await host.clients["1"].sync(8)
        records = [r for r in await host.journal("1") if r.kind == "strike"]
        off_s = []
        for record, contact_s in zip(records, contacts_s, strict=True):
            us = ((record.lap << 30) + record.ms) * 1000 + record.us
            span = host.clients["1"].clock.to_host(us)
            off_s.append((span.best or 0.0) - contact_s)
        told = ", ".join(f"{1e3 * o:+.1f}" for o in off_s)
        print(f"  {len(records)} strikes of {len(contacts_s)}, none doubled; off by {told} ms")
        await link.close()
        await running


def clocks() -> None:
    """15 min on virtual time, a connection event every 30 ms, one of 50 lost."""
    for ppm in (-50.0, 50.0):
        known = run_virtual(known_after_a_run(ppm))
        p95_s = sorted(map(abs, known.errors_s))[int(0.95 * EVENTS)]
        print(
            f"clock {ppm:+.0f} ppm over 30 ms: {known.inside} of {EVENTS} truths within low-high,"
            f" error p95 {1e3 * p95_s:.1f} ms (<= 10 wanted), {1e3 * known.width_s:.0f} ms wide at"
            " the start"
        )


async def main() -> None:
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}")
    with tempfile.TemporaryDirectory() as name:
        await raw_stack()
        await round_trips(Path(name) / "trips")
        await listing(Path(name) / "many")
        await cut(Path(name) / "cut")
        await silence(Path(name) / "silence")
        await mutants(Path(name) / "mutants")


if __name__ == "__main__":
    logging.getLogger("bumble").setLevel(logging.ERROR)
    clocks()
    asyncio.run(main())
