"""Bluetooth as one of the media that stand the same tests: the device and its radio in this Python,
a BLE stack on the air, the host through bleak; all on virtual time."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Iterator
from typing import Any

from bumble.core import UUID

from blindfield.links.ble_channel import BleChannel
from blindfield.links.ble_medium import BleMedium
from blindfield.links.ble_radio import BleRadio
from blindfield.links.channel import Channel, Patience
from fieldcore.device import AIR, Device
from support.ble_air import Air
from support.ble_backend import Central
from support.ble_bench import BleLink
from support.ble_stack import Stack
from support.every_medium import Way, now_s
from support.memory_link import DEVICE_ID, DeskBoard


class HereRadio(Stack):
    """A `bluetooth.BLE()` whose handler is called at once."""

    handler: Any = None

    def active(self, on: bool) -> None:
        """Its owner has it on already."""

    def config(self, name: str = "", value: Any = None, **values: Any) -> None:
        for one in values.items():
            super().config(*one)

    def irq(self, handler: Any) -> None:
        self.handler = handler

    def gap_advertise(  # type: ignore[override]
        self,
        interval_us: int | None,
        adv_data: bytes = b"",
        resp_data: bytes = b"",
        connectable: bool = True,
    ) -> None:
        super().gap_advertise(interval_us, adv_data, resp_data, connectable)

    def gap_scan(self, duration_ms: int, *_: Any) -> None:
        super().gap_scan(duration_ms)

    def gatts_register_services(self, services: Any) -> list[list[int]]:
        made = [
            (UUID(uuid), [(UUID(one), flags) for one, flags in characteristics])
            for uuid, characteristics in services
        ]
        return super().gatts_register_services(made)

    def gatts_set_buffer(self, handle: int, room: int, append: bool = False) -> None:
        super().gatts_set_buffer(handle, room, append)

    def tell(self, event: int, *data: Any) -> None:
        if self.handler is not None:
            self.handler(event, data)

    async def told(self, event: int, *data: Any) -> None:
        self.tell(event, *data)


class BleWay(Way):
    """`cut` takes the device out of range. Loss and doubles are those of notifications: what is
    written on a connection comes once or not at all, and then the connection ends. The device's
    clock is `ppm` too fast."""

    patience = Patience(first_s=0.25, longest_s=2.0)

    def __init__(self, air: Air | None = None, device_id: bytes = DEVICE_ID) -> None:
        self.air = air or Air()
        self._is_cut = False
        self.ppm = 0.0
        super().__init__()
        self.board = DeskBoard()
        self.board.device_id = device_id
        self.radio = HereRadio(self.air, "device")
        self.radio.copies = self.copies
        self.link = BleLink(self.radio, self.board)
        self.board.line = self.link.write
        self._device = Device(self.board)
        self._due: asyncio.TimerHandle | None = None
        self.radio_tell, self.radio.tell = self.radio.tell, self._tell  # type: ignore[method-assign]
        self.medium: BleMedium | None = None
        self._channel: BleChannel | None = None

    @property
    def device(self) -> Device:
        return self._device

    @property
    def cut(self) -> bool:
        return self._is_cut

    @cut.setter
    def cut(self, cut: bool) -> None:
        if cut and not self._is_cut:
            self._losing = asyncio.get_running_loop().create_task(
                self.air.lose(self.radio.controller)
            )
        elif not cut and self._is_cut:
            self.air.away.discard(self.radio.controller)
        self._is_cut = cut

    async def up(self) -> None:
        """Power on."""
        await self.radio.device.power_on()
        self.link.begin()
        self._step()

    async def channel(self) -> Channel:
        if self.medium is None:
            await self.up()
            central = await Central(self.air).power_on()
            radio = BleRadio(central.scanner, central.client)
            self.medium = BleMedium("ble:", expected=[self.board.device_id], radio=radio)
            (channel,) = await self.medium.discover()
            assert isinstance(channel, BleChannel)
            self._channel = channel
        assert self._channel is not None
        return self._channel

    async def inject(self, data: bytes) -> None:
        assert self._channel is not None
        line = self._channel._wire
        assert line is not None
        await line.write(data, confirmed=True)
        self._step()

    @contextlib.contextmanager
    def held(self) -> Iterator[Device]:
        self._step()
        yield self._device
        self._step()

    async def close(self) -> None:
        if self.medium is not None:
            await self.medium.close()
        if self._due is not None:
            self._due.cancel()
        self.radio.stop()

    def _tell(self, event: int, *data: Any) -> None:
        self.radio_tell(event, *data)
        asyncio.get_running_loop().call_soon(self._step)

    def _step(self) -> None:
        """The board's loop, as far as there is something to do now."""
        now_us = int(now_s() * 1e6 * (1 + self.ppm * 1e-6)) & 0x3FFFFFFF
        self._device.advance(now_us)
        while data := self.link.read():
            self.link.deliver(self._device, data, now_us)
            self._device.advance(now_us)
        if data := self.link.heard():
            self._device.feed(AIR, data, now_us)
        wait_us = min(self._device.advance(now_us), self.link.mind(self._device, now_us))
        if self._due is not None:
            self._due.cancel()
        self._due = asyncio.get_running_loop().call_later(max(wait_us, 100) / 1e6, self._step)
