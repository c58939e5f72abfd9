"""A real device core on a line in memory that loses and doubles frames, for tests of the links."""

import asyncio
import random
from collections.abc import Awaitable, Callable
from typing import Any

from blindfield.links.channel import ChannelState, no_frame, no_state
from blindfield.links.client import DeviceClient
from blindfield.links.virtual_time import run_virtual
from blindfield.model.errors import LinkAbsent, LinkLost
from fieldcore import frame
from fieldcore.device import Device

from .flash import Flash

KEY = bytes(range(32))
DEVICE_ID = b"device-1"


class DeskBoard:
    """A board that keeps what it was told. `line` takes the frames it sends."""

    role = 0
    board = "desk"
    build = "1"
    channels = 3
    hints = True

    def __init__(self, seed: int = 1, key: bytes | None = KEY, pages: int = 8) -> None:
        self.device_id = DEVICE_ID
        self.store = Flash(pages, 4096)
        self.line: Callable[[bytes], None] = lambda data: None
        self.advertised: list[bytes] = []
        self.kept: list[bytes] = []
        self.pulses = 0
        self.aborts = 0
        self._key = key
        self._random = random.Random(seed)

    def key(self) -> bytes | None:
        return self._key

    def random(self, count: int) -> bytes:
        return self._random.randbytes(count)

    def settings_bytes(self) -> bytes | None:
        return self.kept[-1] if self.kept else None

    def keep_settings(self, data: bytes) -> None:
        self.kept.append(data)

    def battery_mv(self) -> int:
        return 3000

    def pulse(self, periods: int) -> None:
        self.pulses += 1

    def abort(self) -> None:
        self.aborts += 1

    def send(self, link: int, data: bytes) -> None:
        self.line(data)

    def advertise(self, data: bytes) -> None:
        self.advertised.append(data)

    def light(self, pattern: int) -> None: ...
    def horn(self, pattern: int) -> None: ...


class MemoryChannel:
    """A channel to one Device, which lives on the running loop's time.

    `loss` and `doubling` hold for each frame and each way; `cut` takes the line away.
    """

    name = "memory"

    def __init__(
        self, board: DeskBoard | None = None, *, loss: float = 0.0, doubling: float = 0.0,
        delay_s: tuple[float, float] = (0.0005, 0.002), seed: int = 1,
    ) -> None:  # fmt: skip
        self.board = board or DeskBoard()
        self.board.line = self._from_device
        self.device = Device(self.board)
        self.state = ChannelState.CLOSED
        self.on_frame = no_frame
        self.on_state = no_state
        self.loss = loss
        self.doubling = doubling
        self.delay_s = delay_s
        self.cut = False
        self.away = False
        self.opened = 0
        self.sent: list[bytes] = []
        self._random = random.Random(seed)
        self._reader = frame.Reader()

    async def open(self) -> None:
        if self.away:
            raise LinkAbsent("There is no such port.", device=self.name)
        self.opened += 1
        self._become(ChannelState.OPEN)

    def send(self, body: bytes, address: int = 1) -> float:
        if self.state is not ChannelState.OPEN:
            raise LinkLost("The port is gone.", device=self.name)
        self.sent.append(body)
        self._carry(frame.encode(address, body), self._to_device)
        return asyncio.get_running_loop().time()

    async def close(self) -> None:
        self._become(ChannelState.CLOSED)

    def unplug(self) -> None:
        self.away = True
        self._become(ChannelState.LOST)

    def reboot(self) -> None:
        """The device starts again on the same board."""
        self.device = Device(self.board)

    def now_us(self) -> int:
        return round(asyncio.get_running_loop().time() * 1e6) & 0x3FFFFFFF

    def hand_in(self, body: bytes, address: int = 0) -> None:
        """A frame as if it had come from the device just now."""
        self._to_host(frame.encode(address, body))

    def _become(self, state: ChannelState) -> None:
        self.state = state
        self.on_state(state)

    def _carry(self, data: bytes, to: Callable[[bytes], None]) -> None:
        if self.cut or self._random.random() < self.loss:
            return
        for _ in range(1 + (self._random.random() < self.doubling)):
            delay_s = self._random.uniform(*self.delay_s)
            asyncio.get_running_loop().call_later(delay_s, to, data)

    def _to_device(self, data: bytes) -> None:
        now_us = self.now_us()
        self.device.feed(0, data, now_us)
        self.device.advance(now_us)

    def _from_device(self, data: bytes) -> None:
        self._carry(data, self._to_host)

    def _to_host(self, data: bytes) -> None:
        self._reader.feed(data)
        while found := self._reader.next():
            if self.state is ChannelState.OPEN:
                self.on_frame(*found, asyncio.get_running_loop().time())


def with_client(
    act: Callable[[DeviceClient, MemoryChannel], Awaitable[None]], **channel: Any
) -> MemoryChannel:
    """Runs `act` on virtual time with a client on a channel in memory."""
    line = MemoryChannel(**channel)

    async def run() -> None:
        await act(DeviceClient(line, KEY, name="4"), line)

    run_virtual(run())
    return line
