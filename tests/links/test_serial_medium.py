"""Serial ports: pseudo-terminals with a device behind them in a thread."""

import asyncio
import contextlib
import errno
import os
import select
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from blindfield.links.channel import ChannelState
from blindfield.links.client import DeviceClient
from blindfield.links.link import DeviceLink
from blindfield.links.medium import open_medium
from blindfield.links.serial_medium import SerialChannel, SerialMedium, fault_of
from blindfield.model.errors import ConfigError, LinkAbsent, LinkBusy, LinkDenied, LinkLost
from fieldcore.device import Device
from support.memory_link import KEY, DeskBoard

if sys.platform == "win32":
    pytest.skip("pseudo-terminals do not exist on Windows", allow_module_level=True)


class PtyDevice:
    """A device behind a pseudo-terminal; `link` is a stable name for its port."""

    def __init__(self, folder: Path, name: str = "t1") -> None:
        self.board = DeskBoard()
        self.device = Device(self.board)
        self.link = folder / name
        self.silenced = threading.Event()
        self._stop_r, self._stop_w = os.pipe()
        self.plug_in()

    def plug_in(self) -> None:
        self._master, self._slave = os.openpty()
        os.set_blocking(self._master, False)
        self.board.line = self._write
        self.link.unlink(missing_ok=True)
        self.link.symlink_to(os.ttyname(self._slave))
        self._thread = threading.Thread(target=self._serve)
        self._thread.start()

    def unplug(self) -> None:
        os.write(self._stop_w, b"x")
        self._thread.join()
        os.read(self._stop_r, 1)
        os.close(self._slave)
        os.close(self._master)
        self.link.unlink()

    def close(self) -> None:
        if self.link.is_symlink():
            self.unplug()
        os.close(self._stop_r)
        os.close(self._stop_w)

    def print(self, text: bytes) -> None:
        """Text on the same line, as a board's own start-up messages are."""
        os.write(self._master, text)

    def _write(self, data: bytes) -> None:
        os.write(self._master, data)

    def _serve(self) -> None:
        while True:
            ready, _, _ = select.select([self._master, self._stop_r], [], [])
            if self._stop_r in ready:
                return
            with contextlib.suppress(BlockingIOError):
                now_us = round(time.monotonic() * 1e6) & 0x3FFFFFFF
                self.device.feed(0, os.read(self._master, 256), now_us)
                self.device.advance(now_us)
                if self.device.journal.latched:
                    self.silenced.set()


@pytest.fixture
def device(tmp_path: Path) -> Iterator[PtyDevice]:
    made = PtyDevice(tmp_path)
    yield made
    made.close()


def medium_of(device: PtyDevice) -> SerialMedium:
    return SerialMedium("serial:x", str(device.link), Path("/"))


async def channel_of(device: PtyDevice) -> SerialChannel:
    (channel,) = await medium_of(device).discover()
    assert isinstance(channel, SerialChannel)
    return channel


def test_a_device_on_a_port_answers_and_its_stamps_are_the_loops(device: PtyDevice) -> None:
    async def talk() -> None:
        client = DeviceClient(await channel_of(device), KEY)
        begun_s = asyncio.get_running_loop().time()
        hello = await client.connect()
        assert hello.board == "desk"
        (exchange,) = await client.sync(1)
        ended_s = asyncio.get_running_loop().time()
        assert begun_s <= exchange.sent_s <= exchange.received_s <= ended_s
        span = client.clock.to_host(exchange.device_us)
        assert begun_s <= span.low <= span.high <= ended_s
        await client.close()

    asyncio.run(talk())


def test_text_on_the_line_is_passed_over(device: PtyDevice) -> None:
    async def talk() -> None:
        channel = await channel_of(device)
        client = DeviceClient(channel, KEY)
        await channel.open()
        device.print(b"MPY: soft reboot\r\n")
        await client.connect()
        for _ in range(5):
            device.print(b"Traceback (most recent call last):\r\n\0")
            await client.status()
        assert client.retries <= 1  # the first text stands before the first answer, undelimited
        await client.close()

    asyncio.run(talk())


def test_the_first_frame_is_not_lost_to_junk_in_the_devices_reader(device: PtyDevice) -> None:
    async def talk() -> None:
        device.device.feed(0, b"left over from another program", 0)
        client = DeviceClient(await channel_of(device), KEY)
        await client.connect()
        assert client.retries == 0
        await client.close()

    asyncio.run(talk())


def test_a_port_is_held_by_one_program_at_a_time(device: PtyDevice) -> None:
    async def talk() -> None:
        first = await channel_of(device)
        await first.open()
        with pytest.raises(LinkBusy, match=r"t1: Another program holds the port .* Close it"):
            await (await channel_of(device)).open()
        await first.close()
        second = await channel_of(device)
        await second.open()
        assert second.state is ChannelState.OPEN
        await second.close()

    asyncio.run(talk())


def test_a_port_that_is_not_there_is_absent(tmp_path: Path) -> None:
    async def talk() -> None:
        (channel,) = await SerialMedium("serial:none", "none", tmp_path).discover()
        with pytest.raises(LinkAbsent, match=r"none: There is no port .*none. Is it plugged in"):
            await channel.open()
        with pytest.raises(LinkLost):
            channel.send(b"\x81\x05")

    asyncio.run(talk())


def test_a_file_that_is_no_port_is_told_as_such(tmp_path: Path) -> None:
    async def talk() -> None:
        (tmp_path / "notes.txt").write_text("nothing")
        (channel,) = await SerialMedium("serial:x", "notes.txt", tmp_path).discover()
        with pytest.raises(LinkAbsent, match="does not work as a serial port"):
            await channel.open()

    asyncio.run(talk())


def test_an_unplugged_port_is_lost_and_found_again_under_its_name(device: PtyDevice) -> None:
    async def talk() -> None:
        client = DeviceClient(await channel_of(device), KEY, name="3")
        link = DeviceLink(client)
        ups: list[bool] = []
        lost: asyncio.Queue[str] = asyncio.Queue()
        link.on_up = lambda hello, restarted: ups.append(restarted)
        link.on_lost = lost.put_nowait
        running = asyncio.create_task(link.run())
        await link.wait_up(5)
        device.unplug()
        assert await asyncio.wait_for(lost.get(), 5) == "the connection is gone"
        assert client.channel.state is ChannelState.LOST
        with pytest.raises(LinkLost, match="3: "):
            await client.status()
        device.plug_in()
        await link.wait_up(5)
        assert (await client.status())["state"] == 0
        assert ups == [False, False]
        assert lost.empty()
        await link.close()
        await running

    asyncio.run(talk())


def test_all_ports_are_silenced_open_or_not(tmp_path: Path) -> None:
    devices = [PtyDevice(tmp_path, name) for name in ("a", "b")]

    async def talk() -> None:
        medium = SerialMedium("serial:x", str(tmp_path), Path("/"))
        first, second = await medium.discover()
        assert [first.name, second.name] == ["a", "b"]
        (tmp_path / "c").symlink_to(tmp_path / "gone")  # one that cannot be opened does not hinder
        await first.open()
        await medium.silence_all()
        for device in devices:
            assert await asyncio.to_thread(device.silenced.wait, 5)
        assert first.state is ChannelState.OPEN
        assert second.state is ChannelState.CLOSED
        await medium.close()
        assert first.state is ChannelState.CLOSED

    try:
        asyncio.run(talk())
    finally:
        for device in devices:
            device.close()


def test_ports_are_found_by_pattern_and_stay_the_same_objects(tmp_path: Path) -> None:
    async def look() -> None:
        for name in ("port2", "port1", "other"):
            (tmp_path / name).touch()
        medium = open_medium("serial:port*", tmp_path)
        channels = await medium.discover()
        assert [channel.name for channel in channels] == ["port1", "port2"]
        again = await medium.discover()
        assert all(one is other for one, other in zip(channels, again, strict=True))
        assert medium.may_install_key

    asyncio.run(look())


@pytest.mark.parametrize(
    ("error", "platform", "kind", "says"),
    [
        (OSError(errno.EACCES, "x"), "linux", LinkDenied, "dialout"),
        (OSError(errno.EPERM, "x"), "darwin", LinkDenied, "the right to read"),
        (OSError(errno.EAGAIN, "x"), "linux", LinkBusy, "Close it"),
        (OSError("could not open port 'COM3': PermissionError(13, 'x')"), "win32", LinkBusy, "COM"),
        (OSError("could not open port 'COM3': FileNotFoundError(2)"), "win32", LinkAbsent, "no po"),
    ],
)
def test_faults_of_the_system_are_told_with_their_remedy(
    error: OSError, platform: str, kind: type, says: str
) -> None:
    fault = fault_of(error, "COM3", "post", platform)
    assert type(fault) is kind
    assert says in str(fault)
    assert fault.device == "post"


@pytest.mark.parametrize(
    ("url", "says"),
    [
        ("bus:", "names no way"),
        ("ble:x", "no way to Bluetooth"),
        ("serial:", "names no way"),
        ("/dev/ttyACM0", "names no way"),
    ],
)
def test_a_url_that_names_no_medium_is_refused(url: str, says: str) -> None:
    with pytest.raises(ConfigError, match=says):
        open_medium(url, Path())
