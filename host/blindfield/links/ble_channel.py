"""A channel to one device over Bluetooth, connected when its turn has come.

The channel is OPEN while the device can be had: connected, or parked until there is something to
say. A frame for a parked device waits for its turn; should the device not be found then, the
channel is LOST. Whoever gave its turn away waits for the next one, with or without anything to
say: turns that went by what there is to say would show which devices matter. A link that ends of
itself after a rest is one that the device dropped for want of sealed frames: then the channel is
parked as well.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections import deque
from collections.abc import Callable

from bleak import BleakClient

from blindfield.links.ble_radio import BleRadio, Sighting
from blindfield.links.ble_turns import Turns
from blindfield.links.ble_wire import BleWire
from blindfield.links.channel import (
    BROADCAST,
    DEVICE,
    ChannelState,
    Patience,
    no_frame,
    no_state,
)
from blindfield.model.errors import LinkError, LinkLost
from fieldcore import frame, message, wire

HEAR_S = 6.0
"""A parked device's radio rests for some seconds; a device in a run is heard within one."""

IDLE_S = 8.0
"""A device drops a link that bore no sealed frame for 10 s."""

_MOST_QUEUED = 16
_SILENCES = 3


class BleChannel:
    """See `channel.Channel`. `name`: what the device calls itself on the air."""

    is_radio = True

    def __init__(self, radio: BleRadio, turns: Turns, seen: Sighting) -> None:
        self.name = seen.name
        self.address = seen.address
        self.patience = Patience()
        self.state = ChannelState.CLOSED
        self.on_frame: Callable[[int, bytes, float], None] = no_frame
        self.on_state: Callable[[ChannelState], None] = no_state
        self._radio = radio
        self._turns = turns
        self._wire: BleWire | None = None
        self._reader = frame.Reader()
        self._queue: deque[bytes] = deque()
        self._more = asyncio.Event()
        self._in_turn = False  # waits for its turn even with nothing to say
        self._using = asyncio.Lock()
        self._worker: asyncio.Task[None] | None = None
        self._sent_s = 0.0

    @property
    def connected(self) -> bool:
        """Whether a connection stands now; an open channel may be parked."""
        return self._wire is not None

    async def open(self) -> None:
        if self.state is ChannelState.OPEN:
            return
        async with self._using:
            await self._rise()
        self._queue.clear()
        self._become(ChannelState.OPEN)
        if self._worker is None or self._worker.done():
            self._worker = asyncio.get_running_loop().create_task(self._work())

    def send(self, body: bytes, address: int = DEVICE) -> float:
        if self.state is not ChannelState.OPEN:
            raise LinkLost("The radio link is not open.", device=self.name)
        data = frame.encode(address, body)
        if data not in self._queue:  # the same bytes again are a retry of what waits still
            self._queue.append(data)
        while len(self._queue) > _MOST_QUEUED:
            self._queue.popleft()
        self._more.set()
        self._sent_s = asyncio.get_running_loop().time()
        return self._sent_s

    async def silence(self, *, at_once: bool = False) -> None:
        """Three silence frames, open or not. `at_once`: only if it is connected now.

        Raises a LinkError.
        """
        data = frame.encode(BROADCAST, message.pack(wire.SILENCE))
        self._turns.hurry(self)
        async with self._using:
            line = self._wire if at_once else await self._rise(urgent=True)
            if line is None:
                raise LinkLost("The radio link is not open.", device=self.name)
            for left in reversed(range(_SILENCES)):
                await line.write(data, confirmed=not left)
        if self.state is not ChannelState.OPEN:
            await self.park()

    async def park(self) -> None:
        """Let the connection go for others; the channel stays as it is."""
        async with self._using:
            line, self._wire = self._wire, None
            if line is not None:
                await line.end()
            self._turns.leave(self)
        self._in_turn = asyncio.get_running_loop().time() - self._sent_s < IDLE_S
        self._more.set()

    async def close(self) -> None:
        worker, self._worker = self._worker, None
        if worker is not None:
            worker.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await worker
        await self.park()
        self._queue.clear()
        if self.state is not ChannelState.CLOSED:
            self._become(ChannelState.CLOSED)

    async def _work(self) -> None:
        """Send what waits, connecting when need be."""
        while True:
            await self._more.wait()
            self._more.clear()
            try:
                while (self._queue or self._in_turn) and self.state is ChannelState.OPEN:
                    await self._send_next()
            except LinkError:
                self._lose()

    async def _send_next(self) -> None:
        async with self._using:
            line = await self._rise()
            self._in_turn = False
            if self._queue:
                await line.write(self._queue[0])
                self._queue.popleft()
                self._sent_s = asyncio.get_running_loop().time()

    async def _rise(self, *, urgent: bool = False) -> BleWire:
        """The connection, made if there is none. Raises a LinkError."""
        if self._wire is not None:
            return self._wire
        await self._turns.take(self, urgent=urgent)
        line: BleWire | None = None
        try:
            seen = await self._radio.hear(self.address, self.name, HEAR_S)
            line = BleWire(await self._radio.connect(seen, self._gone), self.name, self._take)
            await line.begin()
        except BaseException:
            if line is not None:
                await line.end()
            self._turns.leave(self)
            raise
        if not line.client.is_connected:
            self._turns.leave(self)
            raise LinkLost("The radio link broke.", device=self.name)
        self._reader = frame.Reader()
        self._wire = line
        self._turns.begin(self)
        return line

    def _gone(self, client: BleakClient) -> None:
        """Ended by the device, the radio or us."""
        if self._wire is None or self._wire.client is not client:
            return
        self._wire = None
        self._turns.leave(self)
        rested_s = asyncio.get_running_loop().time() - self._sent_s
        if self._queue or rested_s < IDLE_S:
            self._lose()

    def _lose(self) -> None:
        self._queue.clear()
        line, self._wire = self._wire, None
        self._turns.leave(self)
        if line is not None:
            self._ending = asyncio.get_running_loop().create_task(line.end())
        if self.state is ChannelState.OPEN:
            self._become(ChannelState.LOST)

    def _become(self, state: ChannelState) -> None:
        self.state = state
        self.on_state(state)

    def _take(self, data: bytes, host_s: float) -> None:
        if self.state is not ChannelState.OPEN:
            return
        self._reader.feed(data)
        while found := self._reader.next():
            self.on_frame(*found, host_s)
