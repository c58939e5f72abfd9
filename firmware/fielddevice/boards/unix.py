"""A board that is a process on the practice rig: its flash is a file, its air and its body are
the rig's, told over a loopback socket in lines of JSON.

Standard input and output are the serial line, or this board's end of the shared pair. The
environment names a JSON file of what differs from device to device (BLINDFIELD_DEVICE), where the
rig listens (BLINDFIELD_BENCH, host:port) and the word to show it (BLINDFIELD_BENCH_TOKEN). Times
to and from the rig are microseconds of the machine's monotonic clock, which both sides read; the
core sees only the detuned 30-bit counter.
"""

import binascii
import json
import os
import select
import socket
import sys
import time
from array import array

from fieldcore.compat import TICKS_MASK, const
from fieldcore.sensor import Block
from fielddevice.boards.unix_pair import UnixPair
from fielddevice.links.bus import BusLink
from fielddevice.links.serial import SerialLink

POWER_CUT = const(77)  # exit status
_CARRIER_HZ = const(457_000)
_NEAR_US = const(2000)  # a wait this short is slept through: the poll counts whole milliseconds
_AT_ONCE = const(4096)
_TCP = const(6)
_NODELAY = const(1)
_PAGE = const(4096)
_PAGES = const(8)


class FileStore:
    """Flash in a file.

    MicroPython keeps no buffer: a write is the system's when the call returns, and outlives this
    process. `flush` would wait for the disk, some milliseconds longer than a chip takes.
    """

    page_size = _PAGE
    pages = _PAGES

    def __init__(self, path: str) -> None:
        try:
            self._file = open(path, "r+b")  # noqa: SIM115 - open as long as the board lives
        except OSError:
            self._file = open(path, "w+b")  # noqa: SIM115
            for _ in range(_PAGES):
                self._file.write(b"\xff" * _PAGE)
        self._left = -1  # bytes until the power goes; negative: it stays

    def cut_after(self, count: int) -> None:
        """The power fails when so many more bytes have been written."""
        self._left = count

    def read_into(self, offset: int, buf: bytearray) -> None:
        self._file.seek(offset)
        self._file.readinto(buf)

    def write(self, offset: int, data: bytearray) -> None:
        self._file.seek(offset)
        if self._file.read(len(data)) != b"\xff" * len(data):
            raise ValueError("flash written twice without an erase")
        self._put(offset, data)

    def erase(self, page: int) -> None:
        self._put(page * _PAGE, b"\xff" * _PAGE)

    def _put(self, offset: int, data: "bytes | bytearray") -> None:
        self._file.seek(offset)
        if 0 <= self._left <= len(data):
            self._file.write(data[: self._left])
            sys.exit(POWER_CUT)
        if self._left > 0:
            self._left -= len(data)
        self._file.write(data)


class Ticks:
    """The board's microsecond counter: 30 bits, from a phase of its own, `ppb` too fast."""

    def __init__(self, phase_us: int, ppb: int) -> None:
        self._base_us = phase_us
        self._anchor_us = time.ticks_us()
        self._ppb = ppb

    def at(self, machine_us: int) -> int:
        """What the counter shows at an instant of the machine's clock."""
        return self._unmasked(machine_us) & TICKS_MASK

    def detune(self, ppb: int) -> None:
        """Go on from here at another rate."""
        machine_us = time.ticks_us()
        self._base_us = self._unmasked(machine_us)
        self._anchor_us = machine_us
        self._ppb = ppb

    def _unmasked(self, machine_us: int) -> int:
        passed_us = machine_us - self._anchor_us
        return self._base_us + passed_us + passed_us * self._ppb // 1_000_000_000


class Bench:
    """The lines to and from the rig. The rig's end is this device's end."""

    def __init__(self, address: str, name: str, token: str) -> None:
        host, port = address.split(":")
        self.socket = socket.socket()
        self.socket.connect(socket.getaddrinfo(host, int(port))[0][-1])
        self.socket.setsockopt(_TCP, _NODELAY, 1)
        self._pending = b""
        self.tell({"is": "here", "name": name, "token": token})

    def tell(self, what: "dict[str, object]") -> None:
        self.socket.write(json.dumps(what) + "\n")

    def read(self) -> None:
        """Take in what has come. Exits when the rig is gone."""
        data = self.socket.recv(_AT_ONCE)
        if not data:
            sys.exit(0)
        self._pending += data

    def next(self) -> "dict[str, object] | None":
        """The next whole line, or None."""
        end = self._pending.find(b"\n")
        if end < 0:
            return None
        line = self._pending[:end]
        self._pending = self._pending[end + 1 :]
        return json.loads(line)


class UnixBoard:
    """`about` is what BLINDFIELD_DEVICE holds: name, device_id (hex), role, build, channels,
    battery_mv, phase_us, ppb, link (False: cut), bus (True: on the shared pair), and the paths key,
    store, settings.
    """

    board = "unix"

    def __init__(
        self, about: "dict[str, object]", bench: Bench, reading: object, writing: object
    ) -> None:
        self.device_id = binascii.unhexlify(about["device_id"])
        self.role = about["role"]
        self.build = about["build"]
        self.channels = about["channels"]
        self.store = FileStore(about["store"])
        self._about = about
        self._ticks = Ticks(about["phase_us"], about["ppb"])
        self._bench = bench
        self.hints = not about["bus"]
        self._pair = None
        if about["bus"]:
            self._pair = UnixPair(reading, writing, bench.tell)
            self.link = BusLink(self._pair, self.device_id, self.random, self.now_us)
        else:
            self.link = SerialLink(reading, writing)
        self._poll = select.poll()
        self._poll.register(reading, select.POLLIN)
        self._poll.register(bench.socket, select.POLLIN)
        self._serial_ready = False
        self._order = None
        self._carrier_until_us = 0

    @classmethod
    def from_environment(cls) -> "UnixBoard":
        with open(os.getenv("BLINDFIELD_DEVICE")) as file:
            about = json.load(file)
        token = os.getenv("BLINDFIELD_BENCH_TOKEN")
        bench = Bench(os.getenv("BLINDFIELD_BENCH"), about["name"], token)
        return cls(about, bench, sys.stdin.buffer, sys.stdout.buffer)

    # What the loop of fielddevice.app asks

    def now_us(self) -> int:
        return self._ticks.at(time.ticks_us())

    def wait(self, wait_us: int) -> None:
        """Sleep until something came, or `wait_us` is over or nearly."""
        self._order = self._bench.next()
        near = self._order is not None or wait_us < _NEAR_US
        ready = self._poll.poll(0 if near else wait_us // 1000 - 1)
        if not ready and self._order is None and wait_us < _NEAR_US:
            time.sleep_us(wait_us)
        self._serial_ready = False
        for stream, _ in ready:
            if stream is self.link.reading:
                self._serial_ready = True
            else:
                self._bench.read()
        if self._order is None:
            self._order = self._bench.next()
        self._obey()

    def received(self) -> "bytes | None":
        if not self._serial_ready:
            return None
        try:
            data = self.link.read()
        except OSError:
            sys.exit(0)  # the rig is gone, and the line with it
        return data if self._about["link"] else None

    def heard(self) -> "bytes | None":
        order = self._order
        if order and order["do"] == "air":
            return binascii.unhexlify(order["frame"])
        return None

    def pressed(self) -> bool:
        """Whether the button was pressed: the post's big one, or that on a target."""
        return bool(self._order) and self._order["do"] == "press"

    def felt(self) -> "Block | None":
        order = self._order
        if not order or order["do"] != "feel":
            return None
        block = Block(0)
        block.frames = array("h", binascii.unhexlify(order["frames"]))
        block.count = len(block.frames) // 4
        block.first_us = self._ticks.at(order["at"])
        block.period_us = order["period"]
        return block

    def _obey(self) -> None:
        order = self._order
        if not order:
            return
        if order["do"] == "set":
            self._about.update(order["values"])
            self._ticks.detune(self._about["ppb"])
        elif order["do"] == "cut_power":
            self.store.cut_after(order["after"])
        elif order["do"] == "break" and self._pair:
            self._pair.broken(order["us"])

    # What the core asks

    def key(self) -> "bytes | None":
        text = self._read_file("key")
        return binascii.unhexlify(text.strip()) if text else None

    def random(self, count: int) -> bytes:
        return os.urandom(count)

    def settings_bytes(self) -> "bytes | None":
        return self._read_file("settings")

    def keep_settings(self, data: bytes) -> None:
        with open(self._about["settings"], "wb") as file:
            file.write(data)

    def battery_mv(self) -> int:
        return self._about["battery_mv"]

    def pulse(self, periods: int) -> None:
        at_us = time.ticks_us()
        self._carrier_until_us = at_us + periods * 1_000_000 // _CARRIER_HZ
        self._bench.tell({"is": "pulse", "at": at_us, "periods": periods})

    def abort(self) -> None:
        at_us = time.ticks_us()
        if at_us < self._carrier_until_us:
            self._bench.tell({"is": "abort", "at": at_us})
        self._carrier_until_us = 0

    def send(self, link: int, data: bytes) -> None:
        if link == 0 and self._about["link"]:
            self.link.write(data)

    def advertise(self, data: bytes) -> None:
        if self._pair:
            if self.role:  # a target never speaks unasked: the host hears of it with the next poll
                self.link.hold_break()
            return
        self._bench.tell({"is": "air", "frame": binascii.hexlify(data).decode()})

    def light(self, pattern: int) -> None:
        self._bench.tell({"is": "light", "pattern": pattern})

    def horn(self, pattern: int) -> None:
        self._bench.tell({"is": "horn", "pattern": pattern})

    def _read_file(self, name: str) -> "bytes | None":
        try:
            with open(self._about[name], "rb") as file:
                return file.read()
        except OSError:
            return None
