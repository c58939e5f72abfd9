"""Whole commands on a shared pair: simulated bodies and boards, the firmware's own bus link."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable
from random import Random
from typing import Any

from blindfield.links.bus_medium import BusMedium
from blindfield.links.sim.bus import Pair
from blindfield.links.sim.device import SimDevice
from blindfield.links.sim.field import Seat, SimField
from blindfield.model.field import Field
from fieldcore.device import Device
from fielddevice.links.bus import BusLink
from support.bus_field import ADAPTER_S, TURNAROUND_S, SimPort, SimWires, now_s
from support.in_process import InProcess


class BusLine:
    """Stands for the line of a simulated device, and is its end of the pair."""

    def __init__(self, pair: Pair) -> None:
        self.tap = pair.tap()
        self.tap.on_bytes = self._hear
        self.wires = SimWires(self.tap)
        self.on_device: Callable[[bytes], None] = lambda _data: None
        self.device: SimDevice | None = None
        self._link: BusLink | None = None
        self._core: Device | None = None
        self._due: asyncio.TimerHandle | None = None

    @property
    def cut(self) -> bool:
        return self.tap.cut

    @cut.setter
    def cut(self, cut: bool) -> None:
        self.tap.cut = cut

    def to_host(self, data: bytes) -> None:
        if self._link is not None:
            self._link.write(data)

    # What the link asks of a device

    def feed(self, link: int, data: bytes, now_us: int) -> None:
        self.on_device(data)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._core, name)

    def _hear(self, data: bytes) -> None:
        asyncio.get_running_loop().call_later(TURNAROUND_S, self._deliver, data)

    def _deliver(self, data: bytes) -> None:
        link = self._present_link()
        if link is not None:
            link.deliver(self, data, self._now_us())
            self._mind()

    def _mind(self) -> None:
        link = self._present_link()
        if self._due is not None:
            self._due.cancel()
        if link is not None:
            wait_s = link.mind(self, self._now_us()) / 1e6
            self._due = asyncio.get_running_loop().call_later(wait_s, self._mind)

    def _present_link(self) -> BusLink | None:
        """A new one with each start of the device."""
        assert self.device is not None
        core = self.device.core
        if core is not self._core:
            self._core = core
            board = self.device.board
            self._link = BusLink(self.wires, board.device_id, board.random, self._now_us)
        return self._link if core is not None else None

    def _now_us(self) -> int:
        assert self.device is not None
        return self.device.board.clock.ticks_us(now_s())


class BusSimField(SimField):
    """Simulated devices that all hang on one pair."""

    def __init__(self, seats: Iterable[Seat], *, noise: float = 0.0, **how: Any) -> None:
        self.pair = Pair(Random("pair"), noise=noise)
        self.host_tap = self.pair.tap(ADAPTER_S)
        self.notices: list[str] = []
        self.place: Field | None = None
        super().__init__(seats, **how)

    def _make(self, seat: Seat, number: int, ppm_spread: float) -> SimDevice:
        made = super()._make(seat, number, ppm_spread)
        line = BusLine(self.pair)
        made.line = line  # type: ignore[assignment]
        made.board.hints = False
        made.board.on_send = line.to_host
        made.board.on_advertise = lambda _data: None  # it has no radio
        line.on_device = made._hear_wire
        line.device = made
        return made

    def bus(self) -> BusMedium:
        """A host's way to all of them, for one command."""
        self.start()
        medium = BusMedium("bus:pair", SimPort(self.host_tap), self.place)
        medium.bus.troubles.on_notice = self.notices.append
        return medium


def put_on_a_bus(here: InProcess, noise: float = 0.0, seed: int = 5) -> BusSimField:
    """The field's targets of `here`, on a pair from now on."""
    seats = [Seat(t.name, 0, t.device_id, (t.x_m, t.y_m)) for t in here.place.targets]
    field = BusSimField(seats, seed=seed, key=here.sim.key, noise=noise)
    field.place = here.place
    here.sim = field
    here.media = {"sim:": field.bus}
    return field
