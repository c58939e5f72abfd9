"""Devices on serial ports: a USB board, or a terminal device of the practice bench.

Each open port has one thread that only reads and stamps. It stamps with `time.monotonic`, which
is what `loop.time()` gives on a real asyncio loop; so this medium wants such a loop. Everything
else happens on the loop; a frame is written by whoever sends it, since a few hundred bytes fit
the system's buffer.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import glob
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import serial

from blindfield.links.channel import (
    BROADCAST,
    DEVICE,
    Channel,
    ChannelState,
    no_frame,
    no_state,
)
from blindfield.model.errors import LinkAbsent, LinkBusy, LinkDenied, LinkError, LinkLost
from fieldcore import frame, message, wire

BAUD = 115_200
WRITE_S = 0.2
_SILENCE_APART_S = (0.0, 0.02, 0.03)  # one crackle on the line does not hit all three
_CHUNK = 4096
_DELIMITER = b"\0"


class SerialChannel:
    """One port; `name` is its last path part. See `channel.Channel`."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.name = Path(path).name
        self.state = ChannelState.CLOSED
        self.on_frame: Callable[[int, bytes, float], None] = no_frame
        self.on_state: Callable[[ChannelState], None] = no_state
        self._port: serial.Serial | None = None
        self._reader = frame.Reader()
        self._fresh = True
        self._pump: Pump | None = None

    async def open(self) -> None:
        if self.state is ChannelState.OPEN:
            return
        self._let_go()
        port = open_port(self.path, self.name)
        self._port, self._reader, self._fresh = port, frame.Reader(), True
        self._pump = Pump(port, self.name, self._take, self._broke)
        self._pump.start()
        self._become(ChannelState.OPEN)

    def send(self, body: bytes, address: int = DEVICE) -> float:
        port = self._port
        if port is None:
            raise LinkLost("The port is not open.", device=self.name)
        host_s = time.monotonic()
        # A delimiter first ends whatever stood in the device's reader before we came.
        data = frame.encode(address, body)
        try:
            port.write(_DELIMITER + data if self._fresh else data)
        except (serial.SerialException, OSError) as error:
            self._broke(port)
            remedy = "Check its cable; it is opened again by itself."
            raise LinkLost("The port takes no more.", device=self.name, remedy=remedy) from error
        self._fresh = False
        return host_s

    async def close(self) -> None:
        self._let_go()
        if self.state is not ChannelState.CLOSED:
            self._become(ChannelState.CLOSED)

    def _take(self, port: serial.Serial, data: bytes, host_s: float) -> None:
        if port is not self._port:
            return  # what a port gave before it was let go
        self._reader.feed(data)
        while port is self._port and (found := self._reader.next()):
            self.on_frame(*found, host_s)

    def _broke(self, port: serial.Serial) -> None:
        if port is self._port:
            self._let_go()
            self._become(ChannelState.LOST)

    def _become(self, state: ChannelState) -> None:
        self.state = state
        self.on_state(state)

    def _let_go(self) -> None:
        port, pump = self._port, self._pump
        self._port = self._pump = None
        if port is not None and pump is not None:
            pump.halt()
            port.close()


class Pump(threading.Thread):
    """Reads and stamps until the port breaks or `halt`; hands everything to the loop."""

    def __init__(
        self,
        port: serial.Serial,
        name: str,
        take: Callable[[serial.Serial, bytes, float], None],
        broke: Callable[[serial.Serial], None],
    ) -> None:
        super().__init__(name=f"serial {name}", daemon=True)
        self._loop = asyncio.get_running_loop()
        self._port = port
        self._take = take
        self._broke = broke
        self._halted = threading.Event()

    def run(self) -> None:
        # A loop that is closed takes nothing more: then nobody is left to read for.
        with contextlib.suppress(RuntimeError):
            try:
                self._read_on()
            except OSError:  # pyserial's errors are of this kind
                self._loop.call_soon_threadsafe(self._broke, self._port)

    def halt(self) -> None:
        """Returns when the thread has ended."""
        self._halted.set()
        self._port.cancel_read()
        self.join()

    def _read_on(self) -> None:
        while not self._halted.is_set():
            data = self._port.read(1)
            host_s = time.monotonic()
            waiting = min(self._port.in_waiting, _CHUNK)
            if waiting:
                data += self._port.read(waiting)
            if data:
                self._loop.call_soon_threadsafe(self._take, self._port, data, host_s)


def open_port(path: str, name: str) -> serial.Serial:
    """The port, ours alone. Raises LinkAbsent, LinkBusy, LinkDenied or LinkLost."""
    try:
        return serial.Serial(path, BAUD, timeout=None, write_timeout=WRITE_S, exclusive=True)
    except serial.SerialException as error:
        raise fault_of(error, path, name) from error


def fault_of(error: OSError, path: str, name: str, platform: str = sys.platform) -> LinkError:
    """What a failed opening means; pyserial gives Windows' errors as text only."""
    text = str(error)
    if error.errno in (errno.EAGAIN, errno.EBUSY) or (platform == "win32" and "(13," in text):
        remedy = "Close it: one program at a time may hold the devices."
        return LinkBusy(f"Another program holds the port {path}.", device=name, remedy=remedy)
    if error.errno in (errno.EACCES, errno.EPERM):
        return LinkDenied(f"You may not use the port {path}.", device=name, remedy=_leave(platform))
    if error.errno in (errno.ENOENT, errno.ENXIO, errno.ENODEV) or "FileNotFoundError" in text:
        remedy = "Is it plugged in and switched on?"
        return LinkAbsent(f"There is no port {path}.", device=name, remedy=remedy)
    remedy = "Check its cable, and that it is one of ours."
    return LinkAbsent(f"{path} does not work as a serial port.", device=name, remedy=remedy)


def _leave(platform: str) -> str:
    """How to get leave to use a port."""
    if platform == "linux":
        return (
            "Join the group that owns it (mostly dialout: `sudo usermod -aG dialout $USER`), "
            "then log in again."
        )
    return "Give yourself the right to read and write it."


class SerialMedium:
    """All ports that a path names: one, those that fit a pattern, or those in a folder."""

    may_install_key = True  # whoever holds the board's own cable holds the board

    def __init__(self, url: str, path: str, folder: Path) -> None:
        self.url = url
        self._path = absolute(path, folder)
        self._channels: dict[str, SerialChannel] = {}

    async def discover(self) -> list[Channel]:
        return [self._channel(path) for path in self._paths()]

    async def silence_all(self) -> None:
        """All ports side by side, since one may be slow to open; one that fails is passed over."""
        await asyncio.gather(*(_silence(self._channel(path)) for path in self._paths()))

    async def close(self) -> None:
        for channel in self._channels.values():
            await channel.close()

    def _channel(self, path: str) -> SerialChannel:
        return self._channels.setdefault(path, SerialChannel(path))

    def _paths(self) -> list[str]:
        if Path(self._path).is_dir():
            return sorted(str(entry) for entry in Path(self._path).iterdir())
        return sorted(glob.glob(self._path)) if glob.has_magic(self._path) else [self._path]


async def _silence(channel: SerialChannel) -> None:
    """The state is looked at each time: the reconnect machine may open a port meanwhile."""
    body = message.pack(wire.SILENCE)
    for apart_s in _SILENCE_APART_S:
        await asyncio.sleep(apart_s)
        with contextlib.suppress(LinkError):
            if channel.state is ChannelState.OPEN:
                channel.send(body, BROADCAST)
            else:
                await asyncio.to_thread(_write_once, channel, frame.encode(BROADCAST, body))


def _write_once(channel: SerialChannel, data: bytes) -> None:
    """To a port that is not open here. Raises LinkError."""
    with open_port(channel.path, channel.name) as port:
        try:
            port.write(_DELIMITER + data)
        except OSError as error:
            raise LinkLost("The port takes no more.", device=channel.name) from error


def absolute(path: str, folder: Path) -> str:
    """COM3 is no file; anything else without a root is beside the field's file, in `folder`."""
    is_relative = not Path(path).is_absolute() and not (sys.platform == "win32" and "/" not in path)
    return str(folder / path) if is_relative else path
