"""What a board's Bluetooth stack does, on the virtual radio: MicroPython's calls, by bumble.

Two kinds stand on it: `ble_broker.Board` for a device in a process of its own, `ble_way.HereRadio`
for one in this Python.
"""

from __future__ import annotations

import asyncio
import errno
import itertools
from collections.abc import Callable
from typing import Any

from bumble import gatt
from bumble.att import Attribute, AttributeValue
from bumble.core import UUID
from bumble.device import Connection

from support.ble_air import Air, radio_on

CONNECT, DISCONNECT, WRITE, SCAN_RESULT, SCAN_DONE, MTU = 1, 2, 3, 5, 6, 21
STACK_ROOM = 20  # of a value, unless the board asks for more


class Stack:
    """A GATT server with one connection. `copies()`: how many of a notification arrive.

    The first `full` notifications are refused for want of memory, `double` sends each twice, the
    first `lost` are swallowed: faults for tests. `scans` counts the windows that are over.
    """

    numbers = itertools.count(1)

    def __init__(self, air: Air, name: str) -> None:
        number = next(self.numbers)
        self.air = air
        self.name = name
        self.address = f"F0:00:00:00:{number >> 8 & 255:02X}:{number & 255:02X}"
        self.controller, self.device = radio_on(air, name, self.address)
        self.full = self.lost = self.scans = 0
        self.double = False
        self.copies: Callable[[], int] = lambda: 1
        self.connections: dict[int, Connection] = {}
        self.here = asyncio.Event()  # advertised for the first time
        self._values: dict[int, bytes] = {}
        self._rooms: dict[int, tuple[int, bool]] = {}
        self._characteristics: dict[int, gatt.Characteristic] = {}
        self._one_write = asyncio.Lock()
        self._tasks: set[asyncio.Task[None]] = set()
        self.device.on("connection", self._connected)

    # What each kind has of its own

    def tell(self, event: int, *data: Any) -> None:
        """Tell the board's handler."""
        raise NotImplementedError

    async def told(self, event: int, *data: Any) -> None:
        """Returns when the handler has run, as stacks do that call it at once."""
        raise NotImplementedError

    # What a board may call

    def config(self, name: str, value: Any) -> None:
        if name == "mtu":
            self.device.gatt_server.max_mtu = value

    def gap_advertise(
        self, interval_us: int | None, data: bytes, answer: bytes, connectable: bool
    ) -> None:
        advertiser = self.controller.le_legacy_advertiser
        if interval_us is None:
            advertiser.stop()
            return
        if len(data) > 31 or len(answer) > 31:
            raise OSError(errno.EINVAL, "an advertisement has 31 bytes")
        if connectable and self.connections:
            raise OSError(errno.ENOMEM, "a reference board serves one connection")
        advertiser.begin(interval_us / 1000, data, answer, connectable)
        self.here.set()

    def gap_scan(self, duration_ms: int) -> None:
        self.begin(self._scan(duration_ms / 1000))

    def gap_disconnect(self, handle: int) -> bool:
        connection = self.connections.get(handle)
        if connection is not None:
            self.begin(connection.disconnect())
        return connection is not None

    def gatts_register_services(self, services: Any) -> list[list[int]]:
        return [self._service(uuid, characteristics) for uuid, characteristics in services]

    def gatts_set_buffer(self, handle: int, room: int, append: bool) -> None:
        self._rooms[handle] = room, append

    def gatts_read(self, handle: int) -> bytes:
        value = self._values[handle]
        if self._rooms[handle][1]:
            self._values[handle] = b""
        return value

    def gatts_write(self, handle: int, data: bytes) -> None:
        self._values[handle] = data

    def gatts_notify(self, handle: int, value: int, data: bytes) -> None:
        connection = self.connections.get(handle)
        if connection is None:
            raise OSError(errno.ENOTCONN, "no such connection")
        if self.full:
            self.full -= 1
            raise OSError(errno.ENOMEM, "no room for a notification")
        if self.lost:
            self.lost -= 1
            return
        for _ in range(self.copies() * (1 + self.double)):
            self.begin(self.notify(connection, value, data))

    # For tests

    async def notify(self, connection: Connection, value: int, data: bytes) -> None:
        characteristic = self._characteristics[value]
        await self.device.notify_subscriber(connection, characteristic, data, force=True)

    def value_handle(self, number: int) -> int:
        """Handle of the characteristic of ours with this number (2 inbox, 3 outbox, 4 credit)."""
        return next(h for h, c in self._characteristics.items() if _short(c.uuid) == number)

    def begin(self, work: Any) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    def stop(self) -> None:
        """Nothing more is said on the air."""
        for task in self._tasks:
            task.cancel()
        self.controller.le_legacy_advertiser.stop()

    # Inside

    def _connected(self, connection: Connection) -> None:
        peer = connection.peer_address
        who = (connection.handle, peer.address_type & 1, bytes(reversed(bytes(peer))))
        self.connections[connection.handle] = connection
        self.tell(CONNECT, *who)

        def mtu() -> None:
            self.tell(MTU, connection.handle, connection.att_mtu)

        def gone(_reason: int) -> None:
            self.connections.pop(connection.handle, None)
            self.tell(DISCONNECT, *who)

        connection.on("connection_att_mtu_update", mtu)
        connection.on("disconnection", gone)

    async def _scan(self, duration_s: float) -> None:
        def heard(seen: Any) -> None:
            kind = 0 if seen.is_connectable else 3
            address = bytes(reversed(bytes(seen.address)))
            self.tell(SCAN_RESULT, 1, address, kind, seen.rssi, seen.data_bytes)

        self.device.on("advertisement", heard)
        await self.device.start_scanning(active=False, filter_duplicates=False)
        await asyncio.sleep(duration_s)
        await self.device.stop_scanning()
        self.device.remove_listener("advertisement", heard)
        self.tell(SCAN_DONE)
        self.scans += 1

    def _service(self, uuid: UUID, characteristics: Any) -> list[int]:
        made = [self._characteristic(*about) for about in characteristics]
        self.device.add_service(gatt.Service(uuid, made))
        for one in made:
            self._values[one.handle], self._rooms[one.handle] = b"", (STACK_ROOM, False)
            self._characteristics[one.handle] = one
        return [one.handle for one in made]

    def _characteristic(self, uuid: UUID, flags: int) -> gatt.Characteristic:
        def read(_connection: Any) -> bytes:
            return self._values[made.handle]

        async def write(connection: Connection, data: bytes) -> None:
            async with self._one_write:
                room, append = self._rooms[made.handle]
                held = self._values[made.handle] if append else b""
                self._values[made.handle] = (held + data)[:room]
                await self.told(WRITE, connection.handle, made.handle)

        may = Attribute.Permissions(
            (Attribute.READABLE if flags & 0x02 else 0)
            | (Attribute.WRITEABLE if flags & 0x0C else 0)
        )
        properties = gatt.Characteristic.Properties(flags)
        value = AttributeValue(read=read, write=write)
        made = gatt.Characteristic(uuid, properties, may, value)
        return made


def _short(uuid: UUID) -> int:
    """The number that differs among our UUIDs (the low half of the first group)."""
    return int(uuid.to_hex_str()[4:8], 16)
