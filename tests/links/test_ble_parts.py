"""The host's pieces of Bluetooth, each alone."""

from __future__ import annotations

import asyncio
import struct
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakDBusError,
    BleakDeviceNotFoundError,
    BleakError,
)

from blindfield.links import ble_faults
from blindfield.links.ble_channel import BleChannel
from blindfield.links.ble_medium import MOST, medium_of_url
from blindfield.links.ble_radio import SERVICE, BleRadio
from blindfield.links.ble_turns import Turns
from blindfield.links.ble_wire import CREDIT, OUTBOX, BleWire
from blindfield.links.channel import ChannelState
from blindfield.links.virtual_time import run_virtual
from blindfield.model.errors import ConfigError, LinkAbsent, LinkDenied, LinkError, LinkLost

# URLs


def test_a_url_may_say_how_many_connections() -> None:
    async def main() -> None:
        assert medium_of_url("ble:").turns.most == MOST
        assert medium_of_url("ble:max=3").turns.most == 3
        assert not medium_of_url("ble:").may_install_key

    asyncio.run(main())


@pytest.mark.parametrize("url", ["ble:max=0", "ble:max=33", "ble:max=x", "ble:AA:BB", "ble:most=3"])
def test_any_other_url_is_refused_with_what_there_is(url: str) -> None:
    with pytest.raises(ConfigError, match="ble:max=NUMBER"):
        medium_of_url(url)


# Faults


@pytest.mark.parametrize("platform", ["linux", "darwin", "win32"])
@pytest.mark.parametrize(
    ("error", "kind"),
    [
        (BleakBluetoothNotAvailableError("", reason), kind)
        for reason, kind in (
            (ble_faults.Reason.NO_BLUETOOTH, LinkAbsent),
            (ble_faults.Reason.NO_BLE_CENTRAL_ROLE, LinkAbsent),
            (ble_faults.Reason.POWERED_OFF, LinkAbsent),
            (ble_faults.Reason.DENIED_BY_USER, LinkDenied),
            (ble_faults.Reason.DENIED_BY_SYSTEM, LinkDenied),
            (ble_faults.Reason.DENIED_BY_UNKNOWN, LinkDenied),
            (ble_faults.Reason.UNKNOWN, LinkAbsent),
        )
    ]
    + [
        (BleakDBusError("org.freedesktop.DBus.Error.ServiceUnknown", ["x"]), LinkAbsent),
        (BleakDBusError("org.freedesktop.DBus.Error.AccessDenied", ["x"]), LinkDenied),
        (BleakDBusError("org.bluez.Error.NotReady", ["x"]), LinkAbsent),
        (BleakDBusError("org.bluez.Error.Failed", ["x"]), LinkLost),
        (BleakDeviceNotFoundError("x"), LinkAbsent),
        (BleakError("disconnected"), LinkLost),
        (PermissionError(13, "x"), LinkDenied),
        (FileNotFoundError(2, "x"), LinkAbsent),
        (TimeoutError(), LinkAbsent),
        (EOFError(), LinkLost),
    ],
)
def test_every_fault_has_its_kind_and_a_remedy(
    error: Exception, kind: type[LinkError], platform: str
) -> None:
    assert isinstance(error, ble_faults.FAULTS)
    told = ble_faults.fault_of(error, "target 3", platform)
    assert type(told) is kind
    assert told.remedy
    assert told.what.endswith(".")


def test_remedies_are_those_of_the_system() -> None:
    off = BleakBluetoothNotAvailableError("", ble_faults.Reason.POWERED_OFF)
    remedies = {p: ble_faults.fault_of(off, None, p).remedy for p in ("linux", "darwin", "win32")}
    assert "bluetoothctl" in remedies["linux"]
    assert "System Settings" in remedies["darwin"]
    assert len(set(remedies.values())) == 3


def test_a_computer_without_bluetooth_service_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """bleak's own code, on a system bus that is not there."""
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", "unix:path=/nowhere/at/all")

    async def main() -> None:
        with pytest.raises(LinkAbsent, match="Bluetooth"):
            await BleRadio().look(0.1, lambda: False)

    if ble_faults.sys.platform != "linux":
        pytest.skip("D-Bus is Linux's")
    asyncio.run(main())


# Who is heard, and what waits


def heard_device(name: str | None, services: list[str]) -> tuple[BLEDevice, AdvertisementData]:
    device = BLEDevice("F0:00:00:00:00:01", name, None)
    return device, AdvertisementData(name, {}, {}, services, None, -60, ())


def test_only_what_advertises_our_service_is_heard() -> None:
    async def main() -> None:
        radio = BleRadio()
        radio._note(*heard_device("Blindfield 0123456789abcdef", []))
        radio._note(*heard_device("Blindfield 0123456789abcdef", [SERVICE[:-1] + "0"]))
        assert radio.sightings == {}
        radio._note(*heard_device(None, [SERVICE]))
        (seen,) = radio.sightings.values()
        assert (seen.name, seen.device_id, seen.rssi_dbm) == ("Blindfield", None, -60)

    asyncio.run(main())


def test_a_retry_of_what_waits_still_is_not_sent_twice() -> None:
    async def main() -> None:
        radio = BleRadio()
        radio._note(*heard_device(None, [SERVICE]))
        channel = BleChannel(radio, Turns(1), radio.sightings["F0:00:00:00:00:01"])
        channel.state = ChannelState.OPEN
        for body in (b"\x81\x10", b"\x81\x10", b"\x81\x12", b"\x81\x10"):
            channel.send(body)
        assert [data[2:4] for data in channel._queue] == [b"\x81\x10", b"\x81\x12"]
        for number in range(50):
            channel.send(bytes((0x82, 0x10, number % 24)))
        assert len(channel._queue) == 16

    asyncio.run(main())


# Pieces


class FakeClient:
    """A bleak client whose device says what a test says."""

    def __init__(self, room: int = 1024, piece: int = 20) -> None:
        self.callbacks: dict[str, Callable[[Any, bytearray], None]] = {}
        self.written: list[bytes] = []
        self.done: list[str] = []
        self.quick = False  # gives credit before a write returns
        self._room = room
        characteristic = SimpleNamespace(max_write_without_response_size=piece)
        self.services = SimpleNamespace(get_characteristic=lambda uuid: characteristic)

    async def start_notify(self, uuid: str, callback: Any) -> None:
        self.callbacks[uuid] = callback

    async def stop_notify(self, uuid: str) -> None:
        self.done.append("stop")

    async def read_gatt_char(self, uuid: str) -> bytearray:
        return bytearray(struct.pack("<HH", 0, self._room))

    async def write_gatt_char(self, part: Any, data: bytes, response: bool) -> None:
        self.written.append(bytes(data))
        if self.quick:
            taken = sum(map(len, self.written)) & 0xFFFF
            self.notify(CREDIT, struct.pack("<HH", taken, self._room))

    async def disconnect(self) -> None:
        self.done.append("disconnect")

    def notify(self, uuid: str, *values: bytes) -> None:
        for value in values:
            self.callbacks[uuid](None, bytearray(value))


def on_wire(act: Callable[[BleWire, FakeClient, list[bytes]], Any], **how: Any) -> None:
    async def main() -> None:
        client, taken = FakeClient(**how), []
        line: Any = BleWire(client, "x", lambda data, host_s: taken.append(data))  # type: ignore[arg-type]
        await line.begin()
        await act(line, client, taken)

    run_virtual(main())


def test_pieces_come_once_and_in_order_whatever_is_doubled() -> None:
    async def act(line: BleWire, client: FakeClient, taken: list[bytes]) -> None:
        for number in range(300):  # over the end of the count
            piece = bytes((number & 255,)) + b"%d" % number
            older = bytes(((number - 1) & 255,)) + b"older"
            client.notify(OUTBOX, piece, piece, older)
        assert taken == [b"%d" % number for number in range(300)]
        assert line.doubled == 600
        assert line.gaps == 0

    on_wire(act)


def test_a_piece_lost_ends_the_frame_it_was_in() -> None:
    async def act(line: BleWire, client: FakeClient, taken: list[bytes]) -> None:
        client.notify(OUTBOX, b"\x00one", b"\x02three", b"\x03four", b"", b"\x04")
        assert taken == [b"one", b"\0", b"three", b"four"]
        assert line.gaps == 1

    on_wire(act)


def test_no_more_is_under_way_than_the_device_has_room_for() -> None:
    async def act(line: BleWire, client: FakeClient, taken: list[bytes]) -> None:
        writing = asyncio.create_task(line.write(bytes(range(100))))
        await asyncio.sleep(0.1)
        assert sum(map(len, client.written)) == 40
        client.notify(CREDIT, struct.pack("<HH", 30, 50), struct.pack("<HH", 30, 50))
        await asyncio.sleep(0.1)
        assert sum(map(len, client.written)) == 80
        client.notify(CREDIT, struct.pack("<HH", 9000, 50), struct.pack("<HH", 10, 50), b"odd")
        await asyncio.sleep(0.1)
        assert not writing.done()  # what cannot be is not believed
        client.notify(CREDIT, struct.pack("<HH", 60, 50))
        await writing
        assert b"".join(client.written) == bytes(range(100))

    on_wire(act, room=50)


def test_credit_that_comes_before_the_write_has_returned_counts() -> None:
    async def act(line: BleWire, client: FakeClient, taken: list[bytes]) -> None:
        client.quick = True
        data = bytes(range(256)) * 300  # over the end of the count
        await line.write(data)
        assert b"".join(client.written) == data

    on_wire(act, room=50)


def test_a_device_that_takes_nothing_more_is_lost() -> None:
    async def act(line: BleWire, client: FakeClient, taken: list[bytes]) -> None:
        with pytest.raises(LinkLost, match="takes nothing more"):
            await line.write(bytes(100))

    on_wire(act, room=50)


def test_notifications_are_stopped_before_the_link_is_let_go() -> None:
    async def act(line: BleWire, client: FakeClient, taken: list[bytes]) -> None:
        await line.end()
        assert client.done == ["stop", "stop", "disconnect"]

    on_wire(act)
