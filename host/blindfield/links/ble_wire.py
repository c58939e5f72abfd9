"""One connection to a device: frames in pieces, as `fielddevice/links/ble.py` has them."""

from __future__ import annotations

import asyncio
import contextlib
import struct
from collections.abc import Callable
from typing import Any

from bleak import BleakClient
from bleak.backends.characteristic import BleakGATTCharacteristic

from blindfield.links.ble_faults import FAULTS, fault_of, not_ours
from blindfield.model.errors import LinkLost

INBOX = "03d40002-3d45-4fea-a9c8-86abecb23e25"
OUTBOX = "03d40003-3d45-4fea-a9c8-86abecb23e25"
CREDIT = "03d40004-3d45-4fea-a9c8-86abecb23e25"

_LONGEST_PIECE = 244
_CREDIT_S = 2.0
_GOODBYE_S = 2.0
_CREDIT_SIZE = 4


class BleWire:
    """`take(data, host_s)` gets what the device sends, in order, without doubles; a zero byte in
    front of what follows a piece lost. `doubled` and `gaps` count what went wrong.
    """

    def __init__(
        self, client: BleakClient, name: str, take: Callable[[bytes, float], None]
    ) -> None:
        self.client = client
        self.doubled = 0
        self.gaps = 0
        self._name = name
        self._take = take
        self._next = 0
        self._sent = 0
        self._taken = 0
        self._room = 0
        self._credit = asyncio.Event()
        self._inbox: BleakGATTCharacteristic | None = None

    async def begin(self) -> None:
        """Subscribe, and learn how much may be under way. Raises a LinkError."""
        found = [self.client.services.get_characteristic(u) for u in (INBOX, OUTBOX, CREDIT)]
        if None in found:
            raise not_ours(self._name)
        try:
            await self.client.start_notify(OUTBOX, self._hear)
            await self.client.start_notify(CREDIT, self._hear_credit)
            credit = await self.client.read_gatt_char(CREDIT)
        except FAULTS as error:
            raise fault_of(error, self._name) from error
        if len(credit) != _CREDIT_SIZE:
            raise not_ours(self._name)
        self._room = struct.unpack("<HH", credit)[1]
        self._inbox = found[0]

    async def write(self, data: bytes, *, confirmed: bool = False) -> None:
        """Returns when the system has taken all of it; `confirmed`: when the device has.

        Raises a LinkError.
        """
        assert self._inbox is not None
        most = min(self._inbox.max_write_without_response_size, _LONGEST_PIECE, self._room)
        for start in range(0, len(data), most):
            piece = data[start : start + most]
            await self._may_send(len(piece))
            self._sent = (self._sent + len(piece)) & 0xFFFF  # credit may come before the call ends
            try:
                await self.client.write_gatt_char(self._inbox, piece, response=confirmed)
            except FAULTS as error:
                raise fault_of(error, self._name) from error

    async def end(self) -> None:
        """Stop notifications first (BlueZ 5.66 and 5.82 crash otherwise), then disconnect."""
        with contextlib.suppress(*FAULTS):
            async with asyncio.timeout(_GOODBYE_S):
                for uuid in (OUTBOX, CREDIT) if self._inbox else ():
                    await self.client.stop_notify(uuid)
        with contextlib.suppress(*FAULTS):
            async with asyncio.timeout(_GOODBYE_S):
                await self.client.disconnect()

    async def _may_send(self, size: int) -> None:
        try:
            async with asyncio.timeout(_CREDIT_S):
                while ((self._sent - self._taken) & 0xFFFF) + size > self._room:
                    self._credit.clear()
                    await self._credit.wait()
        except TimeoutError:
            what = "The device takes nothing more."
            raise LinkLost(what, device=self._name, remedy="It is called again.") from None

    def _hear(self, _: Any, value: bytearray) -> None:
        if len(value) < 2:
            return
        host_s = asyncio.get_running_loop().time()
        ahead = (value[0] - self._next) & 0xFF
        if ahead >= 128:
            self.doubled += 1
            return
        if ahead:
            self.gaps += 1
            self._take(b"\0", host_s)
        self._next = (value[0] + 1) & 0xFF
        self._take(bytes(value[1:]), host_s)

    def _hear_credit(self, _: Any, value: bytearray) -> None:
        if len(value) != _CREDIT_SIZE:
            return
        taken = struct.unpack("<HH", value)[0]
        if (self._sent - taken) & 0xFFFF <= (self._sent - self._taken) & 0xFFFF:  # it only rises
            self._taken = taken
            self._credit.set()
