"""A bleak backend over bumble's host on the virtual radio, and a central to use it with.

`BleakScanner(backend=central.scanner)`, `BleakClient(device, backend=central.client)`: official
parameters of bleak 3.1. Pairing is not there.
"""

from __future__ import annotations

import asyncio
import itertools
from collections.abc import Awaitable, Callable
from typing import Any, TypeVar

from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.client import BaseBleakClient
from bleak.backends.scanner import AdvertisementData, BaseBleakScanner
from bleak.backends.service import BleakGATTService, BleakGATTServiceCollection
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDeviceNotFoundError,
    BleakError,
    BleakGATTProtocolError,
)
from bumble.core import UUID, AdvertisingData, ProtocolError
from bumble.device import Peer
from bumble.gatt import Characteristic

from support.ble_air import Air, radio_on

T = TypeVar("T")
Reason = BleakBluetoothNotAvailableReason
_LISTS = (
    AdvertisingData.COMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS,
    AdvertisingData.INCOMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS,
    AdvertisingData.COMPLETE_LIST_OF_16_BIT_SERVICE_CLASS_UUIDS,
)
_MTU = 247


class Central:
    """A computer's Bluetooth. `trouble`: why it cannot be used now, or None."""

    numbers = itertools.count(1)

    def __init__(self, air: Air, name: str = "host") -> None:
        address = f"C0:00:00:00:00:{next(self.numbers) & 255:02X}"
        self.air = air
        self.controller, self.device = radio_on(air, name, address)
        self.trouble: Reason | None = None
        self.connecting = asyncio.Lock()  # a controller makes one attempt at a time
        self.written: list[int] = []  # sizes of the writes
        self.scanner: Any = type("Scanner", (_Scanner,), {"central": self})
        self.client: Any = type("Client", (_Client,), {"central": self})

    async def power_on(self) -> Central:
        await self.device.power_on()
        return self

    async def fail(self, trouble: Reason) -> None:
        """The adapter goes, with all its links."""
        self.trouble = trouble
        await self.air.lose(self.controller)

    def mend(self) -> None:
        self.trouble = None
        self.air.away.discard(self.controller)

    def check(self) -> None:
        if self.trouble is not None:
            raise BleakBluetoothNotAvailableError("no Bluetooth", self.trouble)


class _Scanner(BaseBleakScanner):
    central: Central

    def __init__(
        self,
        detection_callback: Any = None,
        service_uuids: list[str] | None = None,
        scanning_mode: str = "active",
        **_: Any,
    ) -> None:
        super().__init__(detection_callback, service_uuids)

    async def start(self) -> None:
        self.central.check()
        self.seen_devices.clear()
        device = self.central.device
        device.on("advertisement", self._heard)
        if not device.is_scanning:
            await device.start_scanning(filter_duplicates=False)

    async def stop(self) -> None:
        device = self.central.device
        device.remove_listener("advertisement", self._heard)
        if not device.listeners("advertisement"):
            await device.stop_scanning()

    def _heard(self, seen: Any) -> None:
        said = seen.data
        uuids = [_full(u) for kind in _LISTS for group in said.get_all(kind) for u in group]
        if not self.is_allowed_uuid(uuids):
            return
        name = said.get(AdvertisingData.COMPLETE_LOCAL_NAME)
        services = {
            _full(u): data for u, data in said.get_all(AdvertisingData.SERVICE_DATA_128_BIT_UUID)
        }
        address = seen.address.to_string(False)
        data = AdvertisementData(name, {}, services, uuids, None, seen.rssi, (seen,))
        device = self.create_or_update_device(address, address, name, seen.address, data)
        self.call_detection_callbacks(device, data)


class _Client(BaseBleakClient):
    central: Central

    def __init__(self, address_or_ble_device: Any, services: Any = None, **kwargs: Any) -> None:
        super().__init__(address_or_ble_device, **kwargs)
        self._target = address_or_ble_device.details
        self._connection: Any = None
        self._peer: Any = None
        self._subscribed: dict[int, Callable[[bytes], Any]] = {}

    name = property(lambda self: self.address)
    mtu_size = property(lambda self: self._connection.att_mtu if self._connection else 23)
    is_connected = property(lambda self: self._connection is not None)

    async def connect(self, pair: bool = False, **_: Any) -> None:
        self.central.check()
        try:
            async with self.central.connecting:
                self._connection = await self.central.device.connect(
                    self._target, timeout=self._timeout
                )
        except TimeoutError:
            raise BleakDeviceNotFoundError(self.address, f"{self.address} was not found.") from None
        self._connection.on("disconnection", self._gone)
        self._peer = Peer(self._connection)
        await self._ask(self._peer.request_mtu(_MTU))
        await self._ask(self._peer.discover_services())
        for service in self._peer.services:
            await self._ask(service.discover_characteristics())
        self.services = self._collect()

    def _collect(self) -> BleakGATTServiceCollection:
        found = BleakGATTServiceCollection()
        for one in self._peer.services:
            service = BleakGATTService(one, one.handle, _full(one.uuid))
            found.add_service(service)
            for c in one.characteristics:
                kinds = Characteristic.Properties
                properties: Any = [
                    (p.name or "").lower().replace("_", "-") for p in kinds if p in c.properties
                ]
                found.add_characteristic(
                    BleakGATTCharacteristic(
                        c, c.handle, _full(c.uuid), properties, lambda: self.mtu_size - 3, service
                    )
                )
        return found

    def _gone(self, *_: Any) -> None:
        self._connection = self.services = None
        self._subscribed.clear()
        if self._disconnected_callback:
            self._disconnected_callback()

    async def disconnect(self) -> None:
        if self._connection is not None:
            await self._connection.disconnect()

    async def pair(self, *args: Any, **kwargs: Any) -> None:
        raise NotImplementedError

    async def unpair(self) -> None:
        raise NotImplementedError

    async def _ask(self, work: Awaitable[T]) -> T:
        """An exchange ends when its link does."""
        connection = self._connection
        if connection is None:
            raise BleakError("disconnected")
        lost: asyncio.Future[T] = asyncio.get_running_loop().create_future()

        def on_lost(*_: Any) -> None:
            if not lost.done():
                lost.set_exception(BleakError("disconnected"))

        connection.on("disconnection", on_lost)
        task = asyncio.ensure_future(work)
        try:
            await asyncio.wait({task, lost}, return_when=asyncio.FIRST_COMPLETED)
            return lost.result() if lost.done() else task.result()  # bumble cancels what was asked
        except ProtocolError as error:
            raise BleakGATTProtocolError(error.error_code) from error
        finally:
            connection.remove_listener("disconnection", on_lost)
            task.cancel()
            if lost.done() and not lost.cancelled():
                lost.exception()
            lost.cancel()

    async def read_gatt_char(self, characteristic: Any, **_: Any) -> bytearray:
        return bytearray(await self._ask(characteristic.obj.read_value()))

    async def read_gatt_descriptor(self, descriptor: Any, **_: Any) -> bytearray:
        return bytearray(await self._ask(descriptor.obj.read_value()))

    async def write_gatt_char(self, characteristic: Any, data: Any, response: bool) -> None:
        self.central.written.append(len(data))
        await self._ask(characteristic.obj.write_value(bytes(data), with_response=response))

    async def write_gatt_descriptor(self, descriptor: Any, data: Any) -> None:
        await self._ask(descriptor.obj.write_value(bytes(data), with_response=True))

    async def start_notify(self, characteristic: Any, callback: Any, **_: Any) -> None:
        def heard(value: bytes) -> None:
            callback(bytearray(value))

        self._subscribed[characteristic.handle] = heard
        await self._ask(characteristic.obj.subscribe(heard, prefer_notify=True))

    async def stop_notify(self, characteristic: Any) -> None:
        heard = self._subscribed.pop(characteristic.handle)
        await self._ask(characteristic.obj.unsubscribe(heard))


def _full(uuid: UUID) -> str:
    if len(uuid.to_bytes()) == 16:
        return uuid.to_hex_str("-").lower()
    return f"0000{uuid.to_hex_str().lower()[-4:]}-0000-1000-8000-00805f9b34fb"
