"""The device's side of Bluetooth, under MicroPython, as centrals that are not ours meet it."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("bumble")

from bumble.att import ATT_Error
from bumble.core import UUID
from bumble.device import Connection, Peer
from bumble.gatt_client import CharacteristicProxy

from blindfield.links import ble_channel
from blindfield.links.ble_radio import SERVICE
from blindfield.links.ble_wire import CREDIT, INBOX, OUTBOX
from blindfield.links.channel import ChannelState
from blindfield.model.settings import SETTINGS
from fieldcore import frame, message, wire
from support.ble_backend import Central
from support.ble_field import BleField, ble_field
from support.ble_host import ble_host, until

SILENCE = frame.encode(255, message.pack(wire.SILENCE))
LISTEN_EVERY = next(n for n, s in enumerate(SETTINGS) if s.name == "listen_every_ms")
HELLO = frame.encode(1, message.pack(wire.HELLO, 1, 0))


def on_air(
    folder: Path, act: Callable[[BleField], Awaitable[Any]], count: int = 1, **about: Any
) -> Any:
    async def main() -> Any:
        async with ble_field(folder, count, **about) as air:
            return await act(air)

    return asyncio.run(main())


class Stranger:
    """A central that knows GATT and nothing of ours."""

    def __init__(self, central: Central, connection: Connection) -> None:
        self.central = central
        self.connection = connection
        self.peer = Peer(connection)
        self.heard = frame.Reader()
        self.gone = asyncio.Event()
        connection.on("disconnection", lambda _: self.gone.set())

    @classmethod
    async def meet(cls, central: Central, address: str, mtu: int | None = None) -> Stranger:
        stranger = cls(central, await central.device.connect(address, timeout=5))
        if mtu is not None:
            await stranger.peer.request_mtu(mtu)
        await stranger.peer.discover_all()
        return stranger

    def part(self, uuid: str) -> CharacteristicProxy[bytes]:
        (found,) = self.peer.get_characteristics_by_uuid(UUID(uuid))
        return found

    async def listen(self) -> None:
        await self.part(OUTBOX).subscribe(lambda value: self.heard.feed(value[1:]))

    async def answer(self) -> list[Any]:
        """The next frame's values."""
        found: Any = None
        async with asyncio.timeout(5):
            while not (found := self.heard.next()):
                await asyncio.sleep(0.002)
        return message.unpack(found[1])


def test_a_generic_central_reads_the_two_standard_services(tmp_path: Path) -> None:
    """Numbers and formats as in the Bluetooth assigned numbers and the two services' own pages."""

    async def act(air: BleField) -> None:
        central = await air.central("generic")
        stranger = await Stranger.meet(central, air.boards["1"].address)
        services = {service.uuid.to_hex_str() for service in stranger.peer.services}
        assert {"180F", "180A"} <= services
        level = await stranger.peer.read_characteristics_by_uuid(UUID("2A19"))
        assert level == [b"\x64"]  # one byte, percent
        texts = [
            (await stranger.peer.read_characteristics_by_uuid(UUID(number)))[0].decode("utf-8")
            for number in ("2A29", "2A24", "2A25", "2A26")  # manufacturer, model, serial, firmware
        ]
        assert texts == ["Blindfield", "unix", air.targets["1"].device_id.hex(), "test"]

    on_air(tmp_path, act)


def test_the_advertisement_names_the_device_and_holds_the_service(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        central, seen = await air.central(), []
        central.device.on("advertisement", seen.append)
        await central.device.start_scanning(filter_duplicates=False)
        await until(lambda: len({str(one.address) for one in seen}) == 2)
        for one in seen:
            name = one.data.get(9)
            assert name.startswith("Blindfield ")
            assert one.is_connectable
        flags = {one.data.get(1, raw=True) for one in seen}
        assert flags == {b"\x06"}
        services = {u.to_hex_str("-").lower() for one in seen for u in one.data.get(7)}
        assert services == {SERVICE}

    on_air(tmp_path, act, count=2)


def test_sixty_writes_in_a_row_lose_nothing_at_the_smallest_mtu(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        stranger = await Stranger.meet(await air.central(), air.boards["1"].address)
        assert stranger.connection.att_mtu == 23
        await stranger.listen()
        data = HELLO * (60 * 20 // len(HELLO))
        room = int.from_bytes((await stranger.part(CREDIT).read_value())[2:], "little")
        assert len(data) > room  # credits matter
        taken = 0

        def credited(value: bytes) -> None:
            nonlocal taken
            taken = int.from_bytes(value[:2], "little")

        await stranger.part(CREDIT).subscribe(credited)
        for start in range(0, len(data), 20):
            await until(lambda: start + 20 - taken <= room)  # noqa: B023
            await stranger.part(INBOX).write_value(data[start : start + 20], with_response=False)
        for _ in range(data.count(HELLO)):
            assert (await stranger.answer())[0] == wire.HELLO_IS

    on_air(tmp_path, act)


def test_writes_past_every_room_cost_only_their_own_frames(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        stranger = await Stranger.meet(await air.central(), air.boards["1"].address, mtu=247)
        await stranger.listen()
        inbox = stranger.part(INBOX)
        with pytest.raises(ATT_Error):  # an attribute has 512 bytes
            await inbox.write_value(bytes(600), with_response=True)
        await inbox.write_value(b"\x55" * 500, with_response=True)  # in parts, past the MTU
        for _ in range(40):
            await inbox.write_value(b"\xff" * 244, with_response=False)
        await inbox.write_value(b"\0" + HELLO, with_response=True)
        assert (await stranger.answer())[0] == wire.HELLO_IS

    on_air(tmp_path, act)


def test_half_a_frame_of_one_central_does_not_harm_the_next(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        central = await air.central()
        first = await Stranger.meet(central, air.boards["1"].address)
        await first.part(INBOX).write_value(HELLO[:-4], with_response=True)
        await first.connection.disconnect()
        second = await Stranger.meet(central, air.boards["1"].address)
        await second.listen()
        await second.part(INBOX).write_value(HELLO, with_response=True)
        assert (await second.answer())[0] == wire.HELLO_IS

    on_air(tmp_path, act)


def test_a_stack_without_room_delays_an_answer_and_loses_none(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        stranger = await Stranger.meet(await air.central(), air.boards["1"].address)
        await stranger.listen()
        air.boards["1"].full = 7
        await stranger.part(INBOX).write_value(HELLO * 3, with_response=True)
        for _ in range(3):
            assert (await stranger.answer())[0] == wire.HELLO_IS
        assert air.boards["1"].full == 0

    on_air(tmp_path, act)


def test_who_proves_nothing_is_dropped_and_refused_so_that_the_host_gets_in(
    tmp_path: Path,
) -> None:
    async def act(air: BleField) -> None:
        board, hog = air.boards["1"], await air.central("hog")
        held: list[Stranger] = []
        ended = False

        async def hold_on() -> None:
            while not ended:
                stranger = await Stranger.meet(hog, board.address)
                held.append(stranger)
                await stranger.part(INBOX).write_value(HELLO, with_response=True)
                await stranger.gone.wait()

        hogging = asyncio.create_task(hold_on())
        await until(lambda: board.connections)
        async with ble_host(air) as host:  # waits until it is advertised again
            assert (await host.clients["1"].status())["state"] == 0
            ended = True
        hogging.cancel()
        await asyncio.gather(hogging, return_exceptions=True)
        assert held
        assert held[0].gone.is_set()

    on_air(tmp_path, act, unproven_ms=300)


def test_a_host_at_rest_is_dropped_too_and_never_notices(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ble_channel, "IDLE_S", 0.1)  # as the device's time is short here

    async def act(air: BleField) -> None:
        async with ble_host(air) as host:
            await host.clients["1"].status()
            assert air.boards["1"].connections
            await until(lambda: not air.boards["1"].connections)
            await until(lambda: not host.channels["1"].connected)
            assert host.channels["1"].state is ChannelState.OPEN
            assert (await host.clients["1"].status())["state"] == 0
            assert air.boards["1"].connections

    on_air(tmp_path, act, unproven_ms=300)


def test_a_running_device_obeys_a_silence_on_the_air_and_repeats_it(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        async with ble_host(air) as host:
            await host.clients["1"].request("set_setting", LISTEN_EVERY, 200)
            await host.start("1")
            await until(lambda: air.targets["1"].pulses)
            shouting = air.boards["2"].controller.le_legacy_advertiser  # as a stranger's phone
            service = bytes(reversed(bytes.fromhex(SERVICE.replace("-", ""))))
            shouting.begin(30, bytes((26, 0x21)) + service + SILENCE, b"", connectable=False)
            await until(lambda: air.boards["1"].controller.le_legacy_advertiser.enabled)
            said = air.boards["1"].controller.le_legacy_advertiser
            assert said.advertising_data[-len(SILENCE) :] == SILENCE
            assert not said.connectable
            status = await host.clients["1"].status()
            assert (status["latched"], status["state"]) == (True, 0)
            causes = [r.data["cause"] for r in await host.journal("1") if r.kind == "silenced"]
            assert causes == ["air"]

    on_air(tmp_path, act, count=2)


def test_other_data_of_our_service_on_the_air_is_no_silence(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        async with ble_host(air) as host:
            await host.clients["1"].request("set_setting", LISTEN_EVERY, 200)
            await host.start("1")
            service = bytes(reversed(bytes.fromhex(SERVICE.replace("-", ""))))
            shouting = air.boards["2"].controller.le_legacy_advertiser
            wrong = SILENCE[:3] + bytes((SILENCE[3] ^ 1,)) + SILENCE[4:]
            shouting.begin(20, bytes((26, 0x21)) + service + wrong, b"", connectable=False)
            windows = air.boards["1"].scans
            await until(lambda: air.boards["1"].scans >= windows + 2)
            assert not (await host.clients["1"].status())["latched"]

    on_air(tmp_path, act, count=2)


def test_a_lost_central_disturbs_no_run_and_finds_the_device_again(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        central = await air.central()
        async with ble_host(air, central=central) as host:
            await host.start("1")
            await until(lambda: air.targets["1"].pulses)
            await central.air.lose(central.controller)
            await until(lambda: air.boards["1"].controller.le_legacy_advertiser.enabled)
            central.mend()
            await host.clients["1"].connect()
            await until(lambda: len(air.targets["1"].pulses) >= 3)
            kinds = [record.kind for record in await host.journal("1")]
            assert kinds == ["boot", "started", "sends"]

    on_air(tmp_path, act)


def test_the_battery_that_anybody_may_read_stands_still_in_a_run(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        async with ble_host(air, connect=False) as host:
            host_of = await host.connect()
            await host_of.start("1")
            air.tell("1", do="set", values={"battery_mv": 2500})
            status = await host.clients["1"].status()
            assert status["battery_mv"] == 2500
            client = host.channels["1"]._wire
            assert client is not None
            level = await client.client.read_gatt_char("00002a19-0000-1000-8000-00805f9b34fb")
            assert level == b"\x64"

    on_air(tmp_path, act)
