"""One device behind each kind of medium, with the same handles: what every medium must stand.

Memory, bus and the air run on virtual time; the pseudo-terminal on real time that the loop and the
device take for `SPEED` times as much. A medium of another kind adds a `Way` and its name to `WAYS`.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import random
import selectors
import sys
import tempfile
import threading
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from blindfield.links import serial_medium
from blindfield.links.channel import Channel, Patience
from blindfield.links.client import DeviceClient
from blindfield.links.serial_medium import SerialChannel
from blindfield.links.virtual_time import run_virtual
from fieldcore.device import Device
from support.bus_field import BusField
from support.memory_link import KEY, DeskBoard, MemoryChannel

SPEED = 40.0
TRIES = 8
_BASE_S = time.monotonic()


def now_s() -> float:
    return asyncio.get_running_loop().time()


class Way:
    """A device, and a channel to it. What each kind does in its own manner stands below it.

    `loss`, `doubling`: chances of a frame, either way. `cut`: nothing passes.
    """

    patience = Patience()

    def __init__(self) -> None:
        self.loss = 0.0
        self.doubling = 0.0
        self.cut = False
        self.rng = random.Random(1)

    @property
    def device(self) -> Device:
        raise NotImplementedError

    async def channel(self) -> Channel:
        raise NotImplementedError

    async def inject(self, data: bytes) -> None:
        """These very bytes reach the device's receiver, and it has taken them in."""
        raise NotImplementedError

    @contextlib.contextmanager
    def held(self) -> Iterator[Device]:
        """The device, standing still; what is due afterwards is done."""
        yield self.device

    async def client(self) -> DeviceClient:
        return DeviceClient(await self.channel(), KEY, name="4", patience=self.patience)

    def copies(self) -> int:
        """How many of a frame arrive."""
        if self.cut or self.rng.random() < self.loss:
            return 0
        return 1 + (self.rng.random() < self.doubling)


class MemoryWay(Way):
    def __init__(self) -> None:
        super().__init__()
        self.line = MemoryChannel()
        carry = self.line._carry

        def carry_some(data: bytes, to: Callable[[bytes], None]) -> None:
            for _ in range(self.copies()):
                carry(data, to)

        self.line._carry = carry_some  # type: ignore[method-assign]
        self._due: asyncio.TimerHandle | None = None

    @property
    def device(self) -> Device:
        return self.line.device

    async def channel(self) -> Channel:
        self._advance()
        return self.line

    async def inject(self, data: bytes) -> None:
        self.device.feed(0, data, self.line.now_us())

    @contextlib.contextmanager
    def held(self) -> Iterator[Device]:
        self.device.advance(self.line.now_us())
        yield self.device

    def _advance(self) -> None:
        wait_s = min(self.device.advance(self.line.now_us()) / 1e6, 0.05)
        self._due = asyncio.get_running_loop().call_later(wait_s, self._advance)


class BusWay(Way):
    """The device hangs on the pair beside another one."""

    patience = Patience()

    def __init__(self) -> None:
        super().__init__()
        self.field = BusField(2)
        self.subject = self.field.devices[0]
        hear, write = self.subject.tap.on_bytes, self.subject.tap.write

        def hear_some(data: bytes) -> None:
            self._some(hear, data)

        def write_some(data: bytes) -> None:
            self._some(write, data)

        self.subject.tap.on_bytes = hear_some
        self.subject.tap.write = write_some  # type: ignore[method-assign]

    @property
    def device(self) -> Device:
        return self.subject.device

    async def channel(self) -> Channel:
        for channel in await self.field.medium.discover():
            if channel.seat.number == self.subject.board.device_id:  # type: ignore[attr-defined]
                return channel
        raise AssertionError("not found")

    async def inject(self, data: bytes) -> None:
        async with self.field.medium.bus.line.turn(0):  # type: ignore[arg-type]
            self.field.port.tap.speak(data)
            await asyncio.sleep(0.025 + len(data) * self.field.pair.byte_s)

    @contextlib.contextmanager
    def held(self) -> Iterator[Device]:
        self.subject.now_and_on()
        yield self.device
        self.subject.now_and_on()

    def _some(self, to: Callable[[bytes], None], data: bytes) -> None:
        for copy in range(self.copies()):
            asyncio.get_running_loop().call_later(0.006 * copy, to, data)


class PtyWay(Way):
    """The device runs in a thread behind a pseudo-terminal."""

    patience = Patience(first_s=1.0, longest_s=10.0, tries=TRIES)

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self.board = DeskBoard()
        self._device = Device(self.board)
        self._lock = threading.RLock()
        self._stop_r, self._stop_w = os.pipe()
        self._master, self._slave = os.openpty()
        os.set_blocking(self._master, False)
        self.port = folder / "port"
        self.port.symlink_to(os.ttyname(self._slave))
        self.board.line = self._write
        self.taken = 0
        self._thread = threading.Thread(target=self._serve)
        self._thread.start()

    @property
    def device(self) -> Device:
        return self._device

    async def channel(self) -> Channel:
        self._channel = SerialChannel(str(self.port))
        return self._channel

    async def inject(self, data: bytes) -> None:
        whole = self.taken + len(data)
        assert self._channel._port is not None
        self._channel._port.write(data)
        while self.taken < whole:
            await asyncio.sleep(0)

    @contextlib.contextmanager
    def held(self) -> Iterator[Device]:
        with self._lock:
            self._device.advance(now_us())
            yield self._device
        os.write(self._stop_w, b"g")

    def close(self) -> None:
        os.write(self._stop_w, b"x")
        self._thread.join()
        for end in (self._slave, self._master, self._stop_r, self._stop_w):
            os.close(end)

    def _write(self, data: bytes) -> None:
        for _ in range(self.copies()):
            os.write(self._master, data)

    def _serve(self) -> None:
        poll = selectors.DefaultSelector()
        poll.register(self._master, selectors.EVENT_READ)
        poll.register(self._stop_r, selectors.EVENT_READ)
        with poll:
            while True:
                with self._lock:
                    wait_us = self._device.advance(now_us())
                ready = {key.fd for key, _ in poll.select(wait_us / 1e6 / SPEED)}
                if self._stop_r in ready and b"x" in os.read(self._stop_r, 100):
                    return
                if self._master in ready:
                    data = os.read(self._master, 256)
                    with self._lock:
                        for _ in range(self.copies()):
                            self._device.feed(0, data, now_us())
                    self.taken += len(data)


def fast_s() -> float:
    return _BASE_S + (time.monotonic() - _BASE_S) * SPEED


def now_us() -> int:
    return round(fast_s() * 1e6) & 0x3FFFFFFF


class _FastSelector(selectors.DefaultSelector):  # type: ignore[misc, valid-type]
    def select(self, timeout: float | None = None) -> Any:
        return super().select(timeout if timeout is None else timeout / SPEED)


class FastLoop(asyncio.SelectorEventLoop):
    """Real time, taken for `SPEED` times as much."""

    def __init__(self) -> None:
        super().__init__(_FastSelector())

    def time(self) -> float:
        return fast_s()


@contextlib.asynccontextmanager
async def _way(kind: str, folder: Path) -> AsyncIterator[Way]:
    if kind == "memory":
        memory = MemoryWay()
        yield memory
        if memory._due is not None:
            memory._due.cancel()
    elif kind == "bus":
        bus = BusWay()
        yield bus
        await bus.field.close()
        assert not bus.subject.wires.faults
    elif kind == "ble":
        from support.ble_way import BleWay  # which needs this module, and bumble

        ble = BleWay()
        try:
            yield ble
        finally:
            await ble.close()
    else:
        pty = PtyWay(folder)
        try:
            yield pty
        finally:
            pty.close()


WAYS = ("memory", "bus", "ble") + (() if sys.platform == "win32" else ("pty",))


def on_way(kind: str, act: Callable[[Way], Awaitable[Any]]) -> Any:
    """What `act` gives over a device behind this kind of medium."""

    if kind == "ble":
        pytest.importorskip("bumble")

    async def main() -> Any:
        with tempfile.TemporaryDirectory() as folder:
            async with _way(kind, Path(folder)) as way:
                return await act(way)

    if kind != "pty":
        return run_virtual(main())
    real, serial_medium.time = serial_medium.time, SimpleNamespace(monotonic=fast_s)  # type: ignore
    try:
        with asyncio.Runner(loop_factory=FastLoop) as runner:
            return runner.run(main())
    finally:
        serial_medium.time = real  # type: ignore[misc]
