"""One question at a time on the shared pair, in turns, with what came back and in what state."""

from __future__ import annotations

import asyncio
import contextlib
import heapq
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from enum import IntEnum

from blindfield.links.bus_port import BusPort
from blindfield.links.channel import BROADCAST
from fieldcore import frame, message, wire

BYTE_S = 10 / 115_200
ANSWER_S = 0.020
"""An answer begins within this after the question, or not at all (PROTOCOL.md)."""

SLOW_LATENCY_S = 0.020
"""Taken for the adapter's share until it is measured: the usual timer of 16 ms, and some."""

SILENCE_APART_S = (0.0, 0.015, 0.015)
BREAK_S = 0.02
QUIET_S = 0.0005  # the other end lets go of the pair meanwhile
_BUSY_S = 0.05  # who still talks after so long is not answering: speak all the same
_GAP_S = 0.004  # between bytes of one answer, beside the adapter's share
_SLACK_S = 0.004
_LONGEST_S = (frame.MAX_STUFFED + 2) * BYTE_S  # who talks for longer does not answer
_DELIMITER = b"\0"


class Rank(IntEnum):
    """Who goes first."""

    SILENCE = 0
    FRAME = 1
    SEARCH = 2
    POLL = 3


@dataclass(frozen=True)
class Answer:
    """`bodies`: frames to the host, each with its host time. `garbled`: bytes that are no frame.

    `delay_s`: from the question's last bit to the first bytes here, less their time on the wire.
    """

    bodies: tuple[tuple[bytes, float], ...]
    garbled: bool
    delay_s: float | None = None

    @property
    def is_nothing(self) -> bool:
        return not self.bodies and not self.garbled


class Line:
    """The pair as its master has it. `latency_s`: the adapter's share of every answer.

    `stray_bytes` counts what came unasked and was no frame; `stray_bodies` holds the frames that
    came unasked since they were last taken. `foreign` counts the questions of
    another host; `on_foreign(body)` takes each.
    """

    def __init__(self, port: BusPort) -> None:
        self.port = port
        self.latency_s = SLOW_LATENCY_S
        self.stray_bytes = 0
        self.stray_bodies: list[bytes] = []
        self.foreign = 0
        self.on_foreign: Callable[[bytes], None] = lambda _body: None
        self._said = (0, b"")
        self._reader = frame.Reader()
        self._bodies: list[tuple[bytes, float]] = []
        self._first_s: float | None = None  # when the first bytes of the answer began, as seen here
        self._came = 0  # bytes, zeros and echoes left out, since the question
        self._last_s = 0.0
        self._asking = False
        self._event = asyncio.Event()
        self._busy = False
        self._waiting: list[tuple[int, int, asyncio.Future[None]]] = []
        self._number = 0
        port.on_bytes = self._take

    # Turns

    @contextlib.asynccontextmanager
    async def turn(self, rank: Rank) -> AsyncIterator[None]:
        """The line, for oneself alone. Of those who wait the lowest rank is next."""
        if self._busy:
            waiter = asyncio.get_running_loop().create_future()
            self._number += 1
            heapq.heappush(self._waiting, (rank, self._number, waiter))
            try:
                await waiter
            except asyncio.CancelledError:
                if waiter.done() and not waiter.cancelled():
                    self._pass_on()
                raise
        self._busy = True
        try:
            yield
        finally:
            self._pass_on()

    @property
    def silence_waits(self) -> bool:
        return bool(self._waiting) and self._waiting[0][0] == Rank.SILENCE

    def _pass_on(self) -> None:
        while self._waiting:
            waiter = heapq.heappop(self._waiting)[2]
            if not waiter.done():
                waiter.set_result(None)
                return
        self._busy = False

    # What may be done in one's turn

    async def ask(self, address: int, body: bytes, *, to_the_end: bool = False) -> Answer:
        """What came back. `to_the_end`: wait until all who may answer have.

        Raises LinkLost when the port is gone.
        """
        await self._until_quiet()
        data = self._own(address, body)
        self._reader = frame.Reader()
        self._bodies, self._came, self._asking, self._first_s = [], 0, True, None
        try:
            over_s = self.port.write(data) + len(data) * BYTE_S
            await self._listen(over_s + self.latency_s + ANSWER_S + _SLACK_S, to_the_end)
        finally:
            self._asking = False
        self._reader.feed(_DELIMITER)  # so that a frame cut short counts
        self._reader.next()
        garbled = self._reader.bad > 0
        delay_s = None if self._first_s is None else max(0.0, self._first_s - over_s)
        return Answer(tuple(self._bodies), garbled, delay_s)

    async def tell(self, body: bytes) -> None:
        """Say it to all; nobody answers. Raises LinkLost."""
        data = self._own(BROADCAST, body)
        over_s = self.port.write(data) + len(data) * BYTE_S
        await asyncio.sleep(over_s + QUIET_S - asyncio.get_running_loop().time())

    async def silence(self, *, with_break: bool = False) -> None:
        """Three silence frames, with nothing in between; whoever talks is talked over."""
        for apart_s in SILENCE_APART_S:
            await asyncio.sleep(apart_s)
            await self.tell(message.pack(wire.SILENCE))
        if with_break:
            self.port.set_break(True)
            await asyncio.sleep(BREAK_S)
            self.port.set_break(False)

    def _own(self, address: int, body: bytes) -> bytes:
        self._said = (address, body)
        return _DELIMITER + frame.encode(address, body)

    async def _until_quiet(self) -> None:
        loop = asyncio.get_running_loop()
        give_up_s = loop.time() + _BUSY_S
        while (left_s := self._last_s + QUIET_S - loop.time()) > 0 and loop.time() < give_up_s:
            await asyncio.sleep(left_s)

    async def _listen(self, first_s: float, to_the_end: bool) -> None:
        loop = asyncio.get_running_loop()
        end_s = first_s + _LONGEST_S
        while to_the_end or not self._bodies:
            until_s = self._last_s + self.latency_s + _GAP_S if self._came else first_s
            left_s = min(until_s, end_s) - loop.time()
            if left_s <= 0:
                return
            self._event.clear()
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(left_s):
                    await self._event.wait()

    def _take(self, data: bytes, host_s: float) -> None:
        count = len(data) - data.count(0)
        self._last_s = host_s
        if self._came == 0 and count:
            self._first_s = host_s - len(data) * BYTE_S
        self._came += count
        bad = self._reader.bad
        self._reader.feed(data)
        while found := self._reader.next():
            if found[0] != 0:
                self._came = 0  # our own words, from an adapter that hears itself
                if found != self._said:
                    self.foreign += 1
                    self.on_foreign(found[1])
            elif self._asking:
                self._bodies.append((found[1], host_s))
            else:
                self.stray_bodies.append(found[1])
        if not self._asking and (self._reader.bad > bad or count > frame.MAX_STUFFED):
            self.stray_bytes += count
        self._event.set()
