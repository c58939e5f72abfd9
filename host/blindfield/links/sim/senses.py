"""What one simulated target's sensors deliver: blocks of samples while something moves it."""

from __future__ import annotations

import asyncio
from array import array
from collections.abc import Callable

from blindfield.links.rig.body import PERIOD_US, BuriedBody
from blindfield.links.sim.board import SimClock
from blindfield.links.sim.shapes import Frame
from fieldcore.sensor import Block

BLOCK_FRAMES = 32
_PERIOD_S = PERIOD_US / 1e6


class Senses:
    """Plays signals of the strike model as time goes, one after the other; quiet costs nothing.

    `take(block)` gets each block when its last frame is over. The model begins a signal with a
    second of quiet and the probe's way through the snow, which is the lead a sensor that sleeps
    must deliver; a second of stillness follows it, as such a sensor gives.
    """

    def __init__(self, body: BuriedBody, clock: SimClock, take: Callable[[Block], None]) -> None:
        self.contact_s: float | None = None
        self._body = body
        self._clock = clock
        self._take = take
        self._block = Block(BLOCK_FRAMES)
        self._block.period_us = PERIOD_US
        self._free_s = 0.0
        self._timers: set[asyncio.TimerHandle] = set()

    @property
    def lifted(self) -> bool:
        return self._body.lifted

    def feel(self, kind: str, strength: float = 1.0) -> float | None:
        """A signal from now on, or after those under way; the host time of the true contact."""
        frames, onset_s = self._body.feel(kind, strength)
        begin_s = self._play(frames)
        if onset_s is None:
            return None
        self.contact_s = begin_s + onset_s
        return self.contact_s

    def lift(self) -> None:
        self._play(self._body.lift())

    def put_back(self) -> None:
        self._play(self._body.put_back())

    def stop(self) -> None:
        for timer in self._timers:
            timer.cancel()
        self._timers.clear()

    def _play(self, frames: list[Frame]) -> float:
        loop = asyncio.get_running_loop()
        begin_s = max(loop.time(), self._free_s)
        frames = frames + self._body.settle(frames[-1])
        self._free_s = begin_s + len(frames) * _PERIOD_S
        self._plan(array("h", [value for frame in frames for value in frame]), 0, begin_s)
        return begin_s

    def _plan(self, values: array[int], first: int, begin_s: float) -> None:
        """Deliver the block from frame `first` on when it is over, then the next."""
        over_s = begin_s + min(first + BLOCK_FRAMES, len(values) // 4) * _PERIOD_S

        def deliver() -> None:
            self._timers.discard(timer)
            part = values[4 * first : 4 * (first + BLOCK_FRAMES)]
            if 4 * (first + BLOCK_FRAMES) < len(values):
                self._plan(values, first + BLOCK_FRAMES, begin_s)
            self._deliver(part, begin_s + first * _PERIOD_S)

        timer = asyncio.get_running_loop().call_at(over_s, deliver)
        self._timers.add(timer)

    def _deliver(self, part: array[int], at_s: float) -> None:
        block = self._block
        block.count = len(part) // 4
        block.frames[: len(part)] = part
        block.first_us = self._clock.ticks_us(at_s)
        self._take(block)
