"""The wire between the host and one simulated device, and what may be wrong with it."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable
from random import Random

DELAY_S = (0.0005, 0.002)


class SimLine:
    """Carries frames both ways, in order. Attributes may be set at any time.

    `loss` and `doubling` are probabilities for each frame and way, `delay_s` the least and the
    most a frame takes; nothing passes while `cut`. `on_device` and `on_host` take what arrives.
    """

    def __init__(self, rng: Random) -> None:
        self.loss = 0.0
        self.doubling = 0.0
        self.delay_s = DELAY_S
        self.cut = False
        self.on_device: Callable[[bytes], None] = _dropped
        self.on_host: Callable[[bytes], None] = _dropped
        self._rng = rng
        self._under_way: dict[str, deque[bytes]] = {"device": deque(), "host": deque()}

    def to_device(self, data: bytes) -> None:
        self._carry(data, "device")

    def to_host(self, data: bytes) -> None:
        self._carry(data, "host")

    def _carry(self, data: bytes, end: str) -> None:
        if self.cut or self._rng.random() < self.loss:
            return
        loop = asyncio.get_running_loop()
        for _ in range(1 + (self._rng.random() < self.doubling)):
            self._under_way[end].append(data)
            loop.call_later(self._rng.uniform(*self.delay_s), self._arrive, end)

    def _arrive(self, end: str) -> None:
        data = self._under_way[end].popleft()  # whatever its delay was: a wire keeps the order
        if not self.cut:
            (self.on_device if end == "device" else self.on_host)(data)


def _dropped(data: bytes) -> None:
    """Nothing is there to take it."""
