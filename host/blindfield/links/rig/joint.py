"""The rig's shared pair: the devices' terminals and the host's port on one simulated wire."""

from __future__ import annotations

import asyncio
import contextlib
import os
import sys
from collections.abc import Callable
from pathlib import Path
from random import Random

from blindfield.links.sim.bus import Pair, Tap

if sys.platform != "win32":
    import tty

ADAPTER_S = 0.001
"""How long the host's adapter keeps what it hears; a common USB one set to its least."""

_AT_ONCE = 4096


class Joint:
    """`port` is where a host opens the pair. Real time; everything runs on the loop."""

    def __init__(self, port: Path, rng: Random, noise: float = 0.0) -> None:
        self.port = port
        self.pair = Pair(rng, noise=noise)
        self.taps: dict[str, Tap] = {}
        self._lines: list[int] = []
        self._host_ends = (-1, -1)

    def open(self) -> None:
        """Makes the port. This side keeps both its ends open, so that a host may come and go."""
        here, there = os.openpty()
        tty.setraw(there)
        self._host_ends = (here, there)
        self.port.parent.mkdir(parents=True, exist_ok=True)
        self.port.unlink(missing_ok=True)
        self.port.symlink_to(os.ttyname(there))
        self._join(self.pair.tap(ADAPTER_S), here)

    def join(self, name: str, line: int, on_break: Callable[[float], None]) -> None:
        """Wire a device to the pair by its terminal's descriptor."""
        tap = self.taps[name] = self.pair.tap()
        tap.on_break = on_break
        self._join(tap, line)

    def close(self) -> None:
        for tap in self.taps.values():
            tap.babbles = False
        for line in self._lines:
            asyncio.get_running_loop().remove_reader(line)
        self._lines = []
        if self._host_ends[0] >= 0:
            self.port.unlink(missing_ok=True)
            for end in self._host_ends:
                os.close(end)
            self._host_ends = (-1, -1)

    def _join(self, tap: Tap, line: int) -> None:
        os.set_blocking(line, False)

        def read() -> None:
            with contextlib.suppress(BlockingIOError):
                tap.write(os.read(line, _AT_ONCE))

        def write(data: bytes) -> None:
            # A terminal that nobody reads is full some time: what is lost then, nobody misses.
            with contextlib.suppress(OSError):
                os.write(line, data)

        tap.on_bytes = write
        asyncio.get_running_loop().add_reader(line, read)
        self._lines.append(line)
