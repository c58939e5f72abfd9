"""This computer's Bluetooth adapter, through bleak: who is heard, and connections to them."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from typing import Any

from bleak import BleakClient, BleakScanner
from bleak.backends.client import BaseBleakClient
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData, BaseBleakScanner

from blindfield.links.ble_faults import FAULTS, fault_of, not_heard

SERVICE = "03d40001-3d45-4fea-a9c8-86abecb23e25"
"""Advertised by every device of ours, and by nothing else (see `fielddevice/links/air.py`)."""

CONNECT_S = 8.0
_STALE_S = 4.0
_NAME = "Blindfield"


@dataclass
class Sighting:
    """One device as last heard. `name` is what it calls itself; its number stands at its end."""

    device: BLEDevice
    name: str
    heard_s: float
    rssi_dbm: int

    @property
    def address(self) -> str:
        return str(self.device.address)

    @property
    def device_id(self) -> bytes | None:
        """The device's number as its name tells it (anybody can say any)."""
        with contextlib.suppress(ValueError):
            return bytes.fromhex(self.name.rpartition(" ")[2])
        return None


class BleRadio:
    """One scanner for all who wait for a device; one attempt to connect at a time.

    `sightings` by address: all of ours ever heard. Backends are bleak's own unless given.
    """

    def __init__(
        self,
        scanner: type[BaseBleakScanner] | None = None,
        client: type[BaseBleakClient] | None = None,
    ) -> None:
        self.sightings: dict[str, Sighting] = {}
        self._scanner_backend = scanner
        self._client_backend = client
        self._scanner: BleakScanner | None = None
        self._watchers = 0
        self._gate = asyncio.Lock()
        self._connecting = asyncio.Lock()
        self._waiters: set[asyncio.Future[None]] = set()
        self._heard_s = 0.0

    async def look(self, seconds: float, enough: Callable[[], bool]) -> None:
        """Listen for so long, or until there is enough. Raises LinkAbsent, LinkDenied."""
        async with self._scanning():
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(seconds):
                    while not enough():
                        await self._anything()

    async def hear(self, address: str, name: str, seconds: float) -> Sighting:
        """The device's next advertisement. Raises LinkAbsent, LinkDenied."""
        begun_s = asyncio.get_running_loop().time()
        async with self._scanning():
            try:
                async with asyncio.timeout(seconds):
                    while True:
                        seen = self.sightings.get(address)
                        if seen is not None and seen.heard_s >= begun_s:
                            return seen
                        await self._anything()
            except TimeoutError:
                await self._drop_stale()
                raise not_heard(name) from None

    async def connect(self, seen: Sighting, on_gone: Callable[[BleakClient], None]) -> BleakClient:
        """Connected, services known. Raises a LinkError."""
        backend: dict[str, Any] = {"backend": self._client_backend} if self._client_backend else {}
        client = BleakClient(seen.device, on_gone, services=[SERVICE], timeout=CONNECT_S, **backend)
        async with self._connecting:
            try:
                await client.connect()
            except FAULTS as error:
                raise fault_of(error, seen.name) from error
        return client

    async def _anything(self) -> None:
        """Until something of ours is heard."""
        waiter: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self._waiters.add(waiter)
        try:
            await waiter
        finally:
            self._waiters.discard(waiter)

    @contextlib.asynccontextmanager
    async def _scanning(self) -> AsyncIterator[None]:
        async with self._gate:
            if self._scanner is None:
                self._scanner = await self._start()
            self._watchers += 1
        try:
            yield
        finally:
            async with self._gate:
                self._watchers -= 1
                if not self._watchers:
                    await self._stop()

    async def _start(self) -> BleakScanner:
        backend: dict[str, Any] = (
            {"backend": self._scanner_backend} if self._scanner_backend else {}
        )
        scanner = BleakScanner(self._note, [SERVICE], **backend)
        try:
            await scanner.start()
        except FAULTS as error:
            raise fault_of(error, None) from error
        return scanner

    async def _stop(self) -> None:
        scanner, self._scanner = self._scanner, None
        if scanner is not None:
            with contextlib.suppress(*FAULTS):
                await scanner.stop()

    async def _drop_stale(self) -> None:
        """An adapter that went while scanning says nothing of it: the next to wait starts anew."""
        if asyncio.get_running_loop().time() - self._heard_s > _STALE_S:
            async with self._gate:
                await self._stop()

    def _note(self, device: BLEDevice, said: AdvertisementData) -> None:
        if SERVICE not in said.service_uuids:
            return
        name = said.local_name or device.name or _NAME
        self._heard_s = asyncio.get_running_loop().time()
        self.sightings[device.address] = Sighting(device, name, self._heard_s, said.rssi)
        for waiter in self._waiters:
            if not waiter.done():
                waiter.set_result(None)
