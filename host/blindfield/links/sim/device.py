"""One simulated device: the core, driven on the running loop as a board's program drives it."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from random import Random

from blindfield.links.rig.body import BuriedBody
from blindfield.links.sim.board import SimBoard
from blindfield.links.sim.flash import PowerCut
from blindfield.links.sim.line import SimLine
from blindfield.links.sim.senses import Senses
from fieldcore import wire
from fieldcore.device import AIR, Device
from fieldcore.sensor import Block

_LINK = 0
_TICKS = 1 << 30


class SimDevice:
    """Calls the core when it is due, when a frame comes and when samples come.

    `core` is the core now running, None while the power is off. `lateness_s`: how much too late,
    least and most, a due call comes (a busy chip).
    """

    def __init__(self, name: str, board: SimBoard, line: SimLine, rng: Random) -> None:
        self.name = name
        self.board = board
        self.line = line
        self.core: Device | None = None
        self.senses = Senses(BuriedBody(rng), board.clock, self._sense)
        self.lateness_s = (0.0, 0.0)
        self._rng = rng
        self._due: asyncio.TimerHandle | None = None
        self._boot_s = 0.0
        line.on_device = self._hear_wire
        board.on_send = line.to_host

    def power_on(self) -> None:
        """Boot over the store as it is; the counter starts anywhere. Nothing when it is on."""
        if self.core is not None:
            return
        self._boot_s = asyncio.get_running_loop().time()
        self.board.clock.boot(self._boot_s, self._rng.randrange(_TICKS))
        try:
            self.core = Device(self.board, (_LINK,))
        except PowerCut:
            self._power_failed()
            return
        self._call(_nothing)

    def power_off(self) -> None:
        """Dead at once, its carrier too."""
        self.core = None
        self.board.power_gone()
        self._forget_due()

    def reboot(self) -> None:
        self.power_off()
        self.power_on()

    def hear_air(self, data: bytes) -> None:
        """An advertisement of another device."""
        self._call(lambda core, now_us: core.feed(AIR, data, now_us))

    def detune(self, ppm: float) -> None:
        self.board.clock.detune(asyncio.get_running_loop().time(), ppm)
        self._call(_nothing)

    def press_button(self) -> None:
        """The silence button on the device."""
        self._call(lambda core, _now_us: core.silence(wire.BY_BUTTON))

    def stop(self) -> None:
        """Leave the loop alone for good."""
        self._forget_due()
        self.senses.stop()

    def _hear_wire(self, data: bytes) -> None:
        self._call(lambda core, now_us: core.feed(_LINK, data, now_us))

    def _sense(self, block: Block) -> None:
        self._call(lambda core, _now_us: core.samples(block))

    def _call(self, work: Callable[[Device, int], None]) -> None:
        """Do `work` and all that is due, then wait for what is due next."""
        core = self.core
        if core is None:
            return
        now_us = self.board.clock.ticks_us(asyncio.get_running_loop().time())
        try:
            work(core, now_us)
            wait_us = core.advance(now_us)
        except PowerCut:
            self._power_failed()
            return
        self._forget_due()
        wait_s = wait_us / (self.board.clock.rate * 1e6) + self._rng.uniform(*self.lateness_s)
        self._due = asyncio.get_running_loop().call_later(wait_s, self._call, _nothing)

    def _power_failed(self) -> None:
        self.board.flash.bytes_left = None
        self.power_off()

    def _forget_due(self) -> None:
        if self._due is not None:
            self._due.cancel()
            self._due = None


def _nothing(core: Device, now_us: int) -> None:
    """Only what is due."""
