"""The device's side of Bluetooth on a bench: time that jumps, a radio that writes down what it did.

Runs the firmware's own link in this Python: MicroPython's `bluetooth` module is a stand-in here.
"""

from __future__ import annotations

import sys
from types import ModuleType
from typing import Any

from support.device_bench import DeviceBench


def _uuid(value: int | str) -> str:
    return f"{value:04X}" if isinstance(value, int) else value


_stand_in = ModuleType("bluetooth")
_stand_in.UUID = _uuid  # type: ignore[attr-defined]
sys.modules.setdefault("bluetooth", _stand_in)

from fielddevice.links.ble import BleLink  # noqa: E402 - needs the stand-in

CONNECT, DISCONNECT, WRITE, SCAN_RESULT, MTU = 1, 2, 3, 5, 21
PEER = b"\xc0\x00\x00\x00\x00\x01"


class FakeRadio:
    """`said`: [ms, data or None, answer, connectable] for each change of the advertising;
    `scans`: ms of each window; `notified`: (handle, data); `values` by handle, as anybody reads."""

    def __init__(self, bench: RadioBench) -> None:
        self._bench = bench
        self.said: list[list[Any]] = []
        self.scans: list[int] = []
        self.notified: list[tuple[int, bytes]] = []
        self.values: dict[int, bytes] = {}
        self.services: Any = None
        self.dropped = 0
        self.full = 0
        self.fails = False
        self.inbox = b""
        self.tell: Any = None

    def active(self, on: bool) -> None: ...

    def config(self, **values: Any) -> None: ...

    def irq(self, handler: Any) -> None:
        self.tell = handler

    def gatts_register_services(self, services: Any) -> list[list[int]]:
        self.services = services
        handle, handles = 10, []
        for _, characteristics in services:
            handles.append(list(range(handle, handle + len(characteristics))))
            handle += len(characteristics)
        return handles

    def gatts_set_buffer(self, handle: int, room: int, append: bool = False) -> None: ...

    def gatts_write(self, handle: int, data: bytes) -> None:
        self.values[handle] = bytes(data)

    def gatts_read(self, handle: int) -> bytes:
        data, self.inbox = self.inbox, b""
        return data

    def gatts_notify(self, connection: int, handle: int, data: bytes) -> None:
        if self.full:
            self.full -= 1
            raise OSError(12)
        self.notified.append((handle, bytes(data)))

    def gap_advertise(
        self,
        interval_us: int | None,
        adv_data: bytes = b"",
        resp_data: bytes = b"",
        connectable: bool = True,
    ) -> None:
        if self.fails:
            raise OSError(12)
        data = None if interval_us is None else bytes(adv_data)
        self.said.append([self._bench.now_us // 1000, data, bytes(resp_data), connectable])

    def gap_scan(self, duration_ms: int, interval_us: int, window_us: int) -> None:
        if self.fails:
            raise OSError(12)
        self.scans.append(self._bench.now_us // 1000)

    def gap_disconnect(self, connection: int) -> None:
        self.dropped += 1
        self.tell(DISCONNECT, (connection, 1, PEER))


class RadioBench(DeviceBench):
    """A device whose one link is Bluetooth."""

    radio: Any = None

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        self.radio = FakeRadio(self)
        self.link = BleLink(self.radio, self.board)
        self.board.advertise = self.link.shout
        self._note = self.board.send
        self.board.send = self._send
        self.link.begin()
        self.advance()

    def _send(self, link: int, data: bytes) -> None:
        self._note(link, data)  # where the bench's own host reads its answers
        self.link.write(data)

    @property
    def here(self) -> bytes:
        """What it advertises when it has nothing to tell."""
        return next(said[1] for said in self.radio.said if said[1] is not None)

    def advance(self) -> None:
        super().advance()
        if self.radio is None:
            return
        while data := self.link.read():
            self.device.feed(0, data, self.raw())
            super().advance()
        while data := self.link.heard():
            self.device.feed(255, data, self.raw())
            super().advance()
        self.wait_us = min(self.wait_us, self.link.mind(self.device, self.raw()))

    def connect(self, peer: bytes = PEER, handle: int = 0) -> None:
        self.radio.tell(CONNECT, (handle, 1, peer))
        self.advance()

    def disconnect(self, handle: int = 0) -> None:
        self.radio.tell(DISCONNECT, (handle, 1, PEER))
        self.advance()

    def write(self, data: bytes, handle: int = 0) -> None:
        """A central writes to the inbox."""
        self.radio.inbox += data
        self.radio.tell(WRITE, (handle, 10))

    def hear(self, data: bytes) -> None:
        """An advertisement comes in a window."""
        self.radio.tell(SCAN_RESULT, (1, PEER, 3, -60, memoryview(data)))
        self.advance()

    def advertised(self, until_ms: int) -> list[tuple[int, bytes | None]]:
        """(for so many ms, what) since the beginning, equal stretches joined."""
        found: list[tuple[int, bytes | None]] = []
        ends = [*(said[0] for said in self.radio.said[1:]), until_ms]
        for (begin_ms, data, _, _), end_ms in zip(self.radio.said, ends, strict=True):
            if end_ms == begin_ms:
                continue
            if found and found[-1][1] == data:
                found[-1] = found[-1][0] + end_ms - begin_ms, data
            else:
                found.append((end_ms - begin_ms, data))
        return found
