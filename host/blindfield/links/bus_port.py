"""The host's end of the shared pair: a serial port with an RS-485 adapter behind it."""

from __future__ import annotations

import asyncio
import contextlib
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

import serial

from blindfield.links.serial_medium import Pump, open_port
from blindfield.model.errors import LinkLost

SYSFS = Path("/sys/bus/usb-serial/devices")


class BusPort(Protocol):
    """Bytes in and out. The callbacks come on the loop; `on_gone`: the port broke."""

    name: str
    on_bytes: Callable[[bytes, float], None]
    on_gone: Callable[[], None]

    @property
    def is_open(self) -> bool: ...

    async def open(self) -> None:
        """Raises LinkAbsent, LinkBusy, LinkDenied."""

    def write(self, data: bytes) -> float:
        """The host time just before the first byte left. Raises LinkLost."""
        ...

    def set_break(self, on: bool) -> None:
        """Hold the pair at space, or end that; nothing where the port cannot."""

    def close(self) -> None: ...

    def latency_remedy(self) -> str:
        """What a person can do about a slow adapter."""
        ...


class SerialBusPort:
    """See BusPort. The system is asked for low latency, which many adapters' drivers know."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.name = Path(path).name
        self.on_bytes: Callable[[bytes, float], None] = _unheard
        self.on_gone: Callable[[], None] = _unnoticed
        self._port: serial.Serial | None = None
        self._pump: Pump | None = None

    @property
    def is_open(self) -> bool:
        return self._port is not None

    async def open(self) -> None:
        if self._port is not None:
            return
        port = await asyncio.to_thread(open_port, self.path, self.name)
        _hurry(port)
        self._port = port
        self._pump = Pump(port, self.name, self._take, self._broke)
        self._pump.start()

    def write(self, data: bytes) -> float:
        port = self._port
        if port is None:
            raise LinkLost("The port is not open.", device=self.name)
        host_s = time.monotonic()
        try:
            port.write(data)
        except OSError as error:
            self._broke(port)
            remedy = "Check the adapter's cable; it is opened again by itself."
            raise LinkLost("The port takes no more.", device=self.name, remedy=remedy) from error
        return host_s

    def set_break(self, on: bool) -> None:
        if self._port is not None:
            with contextlib.suppress(OSError):
                self._port.break_condition = on

    def close(self) -> None:
        port, pump = self._port, self._pump
        self._port = self._pump = None
        if port is not None and pump is not None:
            pump.halt()
            port.close()

    def latency_remedy(self) -> str:
        return latency_remedy(self.path)

    def _take(self, port: serial.Serial, data: bytes, host_s: float) -> None:
        if port is self._port:
            self.on_bytes(data, host_s)

    def _broke(self, port: serial.Serial) -> None:
        if port is self._port:
            self.close()
            self.on_gone()


def _hurry(port: serial.Serial) -> None:
    """Ask the driver not to collect bytes; no loss where it does not know how."""
    ask = getattr(port, "set_low_latency_mode", None)
    if ask is not None:
        with contextlib.suppress(OSError, ValueError, NotImplementedError):
            ask(True)


def latency_remedy(path: str, platform: str = sys.platform, sysfs: Path = SYSFS) -> str:
    """How to make an adapter hand its bytes over sooner. FTDI's timer: common practice."""
    if platform == "win32":
        return (
            "In the Device Manager open the adapter's port: Port Settings, Advanced, "
            "Latency Timer: 1 ms."
        )
    timer = sysfs / Path(path).resolve().name / "latency_timer"
    if platform == "linux" and timer.exists():
        return f"Set its timer to 1 ms: echo 1 | sudo tee {timer}"
    return "Set the latency timer of its driver to 1 ms, or use another adapter."


def _unheard(data: bytes, host_s: float) -> None: ...


def _unnoticed() -> None: ...
