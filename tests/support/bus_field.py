"""Devices with the firmware's own bus link on one simulated pair, on the loop's virtual time."""

from __future__ import annotations

import asyncio
import random
from collections.abc import Awaitable, Callable
from typing import Any

from blindfield.links.bus_medium import BusMedium
from blindfield.links.client import DeviceClient
from blindfield.links.sim.bus import Pair, Tap
from blindfield.links.virtual_time import run_virtual
from blindfield.model.errors import LinkAbsent, LinkLost
from blindfield.model.field import Field
from fieldcore.device import Device
from fielddevice.links.bus import BusLink
from support.memory_link import KEY, DeskBoard

ADAPTER_S = 0.001
TURNAROUND_S = 0.0003
"""From a question's last byte to the answer's first: a device's loop; assumed."""

SPIN_S = 0.0011


class SimPort:
    """The host's adapter on the pair. See `blindfield.links.bus_port.BusPort`."""

    name = "pair"

    def __init__(self, tap: Tap) -> None:
        self.tap = tap
        self.on_bytes: Callable[[bytes, float], None] = lambda _data, _host_s: None
        self.on_gone: Callable[[], None] = lambda: None
        self.is_open = False
        self.away = False
        self.written: list[bytes] = []
        tap.on_bytes = self._take

    async def open(self) -> None:
        if self.away:
            raise LinkAbsent("There is no port.", device=self.name)
        self.is_open = True

    def write(self, data: bytes) -> float:
        if not self.is_open:
            raise LinkLost("The port is not open.", device=self.name)
        self.written.append(data)
        self.tap.write(data)
        return asyncio.get_running_loop().time()

    def set_break(self, on: bool) -> None:
        if on:
            self.tap.hold_low(0.02)

    def close(self) -> None:
        self.is_open = False

    def latency_remedy(self) -> str:
        return "Turn its timer down."

    def unplug(self) -> None:
        self.is_open, self.away = False, True
        self.on_gone()

    def _take(self, data: bytes) -> None:
        if self.is_open:
            self.on_bytes(data, asyncio.get_running_loop().time())


class SimWires:
    """A device's side of the pair, as `fielddevice.links.bus` wants it."""

    reading = None

    def __init__(self, tap: Tap) -> None:
        self.tap = tap
        self.drives = False
        self.faults: list[str] = []
        self._low_until_s = 0.0
        self._sent_s = 0.0
        tap.on_break = self._broken

    def read(self) -> bytes | None:
        return None

    def drive(self, on: bool) -> None:
        if not on and not self.sent():
            self.faults.append("let go within a frame")
        self.drives = on

    def write(self, data: bytes) -> None:
        if not self.drives:
            self.faults.append("spoke without taking the pair")
        self._sent_s = now_s() + len(data) * self.tap.byte_s
        self.tap.write(data)

    def sent(self) -> bool:
        # The link spins through the last millisecond, which takes no virtual time.
        return now_s() >= self._sent_s - SPIN_S

    def low(self) -> bool:
        return now_s() < self._low_until_s

    def hold_low(self, us: int) -> None:
        self.tap.hold_low(us / 1e6)

    def _broken(self, hold_s: float) -> None:
        self._low_until_s = now_s() + hold_s


class BusDevice:
    """One device. `delay_s`: from a question to its answer. `silenced_s`: its first abort
    since this was None."""

    def __init__(self, pair: Pair, number: bytes, role: int = 0, seed: int = 1) -> None:
        self.tap = pair.tap()
        self.wires = SimWires(self.tap)
        self.board = DeskBoard(seed)
        self.board.device_id, self.board.role, self.board.hints = number, role, False
        self.board.line = self._send
        self.delay_s = TURNAROUND_S
        self.silenced_s: float | None = None
        self.fed: list[bytes] = []
        self._due: asyncio.TimerHandle | None = None
        self._first_us = random.Random(seed).randrange(1 << 30)
        self.tap.on_bytes = self._heard
        self.board.abort = self._abort  # type: ignore[method-assign]
        self.power_on()

    def power_on(self) -> None:
        """Boot, or boot again, over the same flash."""
        self.device = Device(self.board)
        self.link = BusLink(self.wires, self.board.device_id, self.board.random, self.now_us)

    def now_us(self) -> int:
        return (self._first_us + round(now_s() * 1e6)) & 0x3FFFFFFF

    def now_and_on(self) -> None:
        """All that is due, and a timer for what is due next."""
        wait_us = self.device.advance(self.now_us())
        wait_us = min(wait_us, self.link.mind(self.device, self.now_us()))
        if self._due is not None:
            self._due.cancel()
        self._due = asyncio.get_running_loop().call_later(wait_us / 1e6, self.now_and_on)

    def stop(self) -> None:
        if self._due is not None:
            self._due.cancel()

    def _heard(self, data: bytes) -> None:
        wait_s = self.delay_s if data[-1:] == b"\0" else 0.0
        asyncio.get_running_loop().call_later(wait_s, self._feed, data)

    def _feed(self, data: bytes) -> None:
        self.fed.append(data)
        self.device.clock.advance(self.now_us())
        self.link.deliver(self.device, data, self.now_us())
        self.now_and_on()

    def _send(self, data: bytes) -> None:
        self.link.write(data)

    def _abort(self) -> None:
        self.board.aborts += 1
        if self.silenced_s is None:
            self.silenced_s = now_s()


class BusField:
    """So many devices on one pair, and the medium that reaches them."""

    def __init__(
        self, count: int, *, noise: float = 0.0, seed: int = 1, adapter_s: float = ADAPTER_S,
        numbers: list[bytes] | None = None, place: Field | None = None,
    ) -> None:  # fmt: skip
        rng = random.Random(seed)
        self.pair = Pair(random.Random(rng.random()), noise=noise)
        self.port = SimPort(self.pair.tap(adapter_s))
        self.medium = BusMedium("bus:pair", self.port, place)
        self.notices: list[str] = []
        self.medium.bus.troubles.on_notice = self.notices.append
        if place:
            numbers = [target.device_id for target in place.targets[:count]]
        numbers = numbers or [rng.randbytes(8) for _ in range(count)]
        self.devices = [BusDevice(self.pair, n, seed=k) for k, n in enumerate(numbers)]

    def add(self, number: bytes, role: int = 0, seed: int = 99) -> BusDevice:
        self.devices.append(BusDevice(self.pair, number, role, seed))
        return self.devices[-1]

    async def clients(self) -> list[DeviceClient]:
        """One per device, in the order of `devices`, connected."""
        channels = {c.seat.number: c for c in await self.medium.discover()}  # type: ignore[attr-defined]
        made = []
        for device in self.devices:
            channel = channels[device.board.device_id]
            await channel.open()
            made.append(DeviceClient(channel, KEY, name=device.board.device_id.hex()))
        await asyncio.gather(*(client.connect() for client in made))
        return made

    async def close(self) -> None:
        await self.medium.close()
        for device in self.devices:
            device.stop()
            device.tap.babbles = False


def now_s() -> float:
    return asyncio.get_running_loop().time()


def on_bus(count: int, act: Callable[[BusField], Awaitable[Any]], **how: Any) -> Any:
    """What `act` gives on a new field of so many devices, on virtual time."""

    async def main() -> Any:
        field = BusField(count, **how)
        try:
            return await act(field)
        finally:
            await field.close()
            faults = [fault for device in field.devices for fault in device.wires.faults]
            assert faults == []

    return run_virtual(main())
