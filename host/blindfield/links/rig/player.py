"""Plays what a body feels to its device, as time goes."""

from __future__ import annotations

import array
import asyncio
import sys
from collections.abc import Callable, Mapping
from typing import Any

from blindfield.links.rig.body import BLOCK_FRAMES, PERIOD_US, QUIET_LEAD_S, BuriedBody
from blindfield.links.sim.shapes import Frame

_US_PER_S = 1_000_000
_PERIOD_S = PERIOD_US / _US_PER_S


class Player:
    """Signals follow one another; each block is told when its last frame is over.

    The quiet before a signal has just passed when it is asked for, unless something else was felt
    then: so the contact comes within a moment of the asking.
    """

    def __init__(self, body: BuriedBody, tell: Callable[[Mapping[str, Any]], object]) -> None:
        self.contact_s: float | None = None
        self._body = body
        self._tell = tell
        self._free_s = 0.0  # host time of the end of the last frame planned

    def plan(
        self, frames: list[Frame], onset_s: float | None, lead_s: float = QUIET_LEAD_S
    ) -> tuple[float, float | None]:
        """Host times of the first frame and of the contact, for `play`."""
        begin_s = max(asyncio.get_running_loop().time() - lead_s, self._free_s)
        self._free_s = begin_s + len(frames) * _PERIOD_S
        contact_s = None if onset_s is None else begin_s + onset_s
        self.contact_s = contact_s or self.contact_s
        return begin_s, contact_s

    async def play(self, frames: list[Frame], begin_s: float) -> None:
        """Until the last frame is told."""
        for first in range(0, len(frames), BLOCK_FRAMES):
            block = frames[first : first + BLOCK_FRAMES]
            at_s = begin_s + first * _PERIOD_S
            over_s = at_s + len(block) * _PERIOD_S
            await asyncio.sleep(max(0.0, over_s - asyncio.get_running_loop().time()))
            self._send(block, at_s)

    def look(self) -> None:
        """What a still body felt just now, so that the device knows how it lies."""
        end_s = asyncio.get_running_loop().time() - QUIET_LEAD_S
        begin_s = end_s - BLOCK_FRAMES * _PERIOD_S
        if begin_s >= self._free_s:
            self._free_s = end_s
            self._send(self._body.quiet(), begin_s)

    def _send(self, frames: list[Frame], at_s: float) -> None:
        values = array.array("h", [value for frame in frames for value in frame])
        if sys.byteorder == "big":
            values.byteswap()
        order = {"do": "feel", "at": round(at_s * _US_PER_S), "period": PERIOD_US}
        self._tell({**order, "frames": values.tobytes().hex()})
