"""A computer holds some connections at once; when there are more devices, they take turns.

Turns go round by time alone: who has held longest gives way to who has waited longest. What is said
on a connection plays no part, so nothing shows which devices matter.
"""

from __future__ import annotations

import asyncio
import math
from collections import deque
from typing import Protocol

DWELL_S = 2.0
"""A connection is held at least so long, once it stands, before it is given away."""


class Holder(Protocol):
    """Whoever takes turns."""

    async def park(self) -> None:
        """Give the connection back; what was being said is said first."""


class Turns:
    """At most `most` holders at once."""

    def __init__(self, most: int) -> None:
        self.most = most
        self._since_s: dict[Holder, float] = {}  # in the order of coming
        self._parking: set[Holder] = set()
        self._waiting: deque[tuple[Holder, asyncio.Future[None]]] = deque()
        self._lender: asyncio.Task[None] | None = None
        self._parks: set[asyncio.Task[None]] = set()
        self._urgent = False

    @property
    def held(self) -> int:
        return len(self._since_s)

    async def take(self, who: Holder, *, urgent: bool = False) -> None:
        """Returns with a place; `urgent` waits for nobody's least time."""
        if who in self._since_s:
            return
        if len(self._since_s) < self.most and not self._waiting:
            self._give(who)
            return
        place: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        entry = who, place
        self._waiting.appendleft(entry) if urgent else self._waiting.append(entry)
        self._urgent = self._urgent or urgent
        self._lend_on()
        try:
            await place
        except asyncio.CancelledError:
            if entry in self._waiting:
                self._waiting.remove(entry)
            else:
                self.leave(who)
            raise

    def begin(self, who: Holder) -> None:
        """It is connected: its time runs from now. Before, nobody takes its place away."""
        if who in self._since_s:
            self._since_s[who] = asyncio.get_running_loop().time()

    def hurry(self, who: Holder) -> None:
        """If it waits for a place, it is the next to have one, at once."""
        for entry in self._waiting:
            if entry[0] is who:
                self._waiting.remove(entry)
                self._waiting.appendleft(entry)
                self._urgent = True
                return

    def leave(self, who: Holder) -> None:
        """The place is free; nothing happens when there was none."""
        self._since_s.pop(who, None)
        self._parking.discard(who)
        while self._waiting and len(self._since_s) < self.most:
            next_one, place = self._waiting.popleft()
            if not place.done():
                self._give(next_one)
                place.set_result(None)

    def close(self) -> None:
        for task in (self._lender, *self._parks):
            if task is not None:
                task.cancel()

    def _give(self, who: Holder) -> None:
        self._since_s[who] = math.inf

    def _lend_on(self) -> None:
        if self._lender is None or self._lender.done():
            self._lender = asyncio.get_running_loop().create_task(self._lend())

    async def _lend(self) -> None:
        """While somebody waits, park those who have held longest, as many as wait."""
        while self._waiting:
            settled = (h for h in self._since_s if self._since_s[h] < math.inf)
            holder = next((h for h in settled if h not in self._parking), None)
            if holder is None or len(self._parking) >= len(self._waiting):
                await asyncio.sleep(0.02)
                continue
            left_s = self._since_s[holder] + DWELL_S - asyncio.get_running_loop().time()
            if left_s > 0 and not self._urgent:
                await asyncio.sleep(min(left_s, 0.05))
                continue
            self._parking.add(holder)
            parking = asyncio.get_running_loop().create_task(self._park(holder))
            self._parks.add(parking)  # side by side: a system may be slow to let go
            parking.add_done_callback(self._parks.discard)
        self._urgent = False

    async def _park(self, holder: Holder) -> None:
        await holder.park()
        self.leave(holder)
