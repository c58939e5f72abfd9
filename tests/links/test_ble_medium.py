"""The host over Bluetooth: its own code through bleak, on the virtual radio."""

from __future__ import annotations

import asyncio
import random
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("bumble")

from bleak.exc import BleakBluetoothNotAvailableReason as Reason

from blindfield.links import ble_medium
from blindfield.links.channel import ChannelState
from blindfield.links.link import DeviceLink, LinkState
from blindfield.model.errors import LinkAbsent, LinkDenied, LinkError
from fieldcore import frame, message, wire
from support.ble_air import radio_on
from support.ble_field import BleField, ble_field
from support.ble_host import ble_host, strike, until

MUTANTS = 2000


def on_air(
    folder: Path, act: Callable[[BleField], Awaitable[Any]], count: int = 1, **about: Any
) -> Any:
    async def main() -> Any:
        async with ble_field(folder, count, **about) as air:
            return await act(air)

    return asyncio.run(main())


# Who is there


def test_a_look_ends_when_all_are_heard_and_others_are_passed_over(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        controller, stranger = radio_on(air.air, "other", "F1:00:00:00:00:01")
        await stranger.power_on()
        named = b"\x1c\x09" + b"Blindfield 0123456789abcdef"
        controller.le_legacy_advertiser.begin(20, b"\x02\x01\x06", named, True)
        async with ble_host(air, connect=False) as host:
            channels = await host.medium.discover()
            numbers = [target.device_id.hex() for target in air.targets.values()]
            assert [c.name for c in channels] == [f"Blindfield {n}" for n in sorted(numbers)]
            assert await host.medium.discover() == channels

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ble_medium, "LOOK_S", 3600.0)
        on_air(tmp_path, act, count=10)


def test_our_service_without_what_belongs_to_it_is_no_device(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        controller, stranger = radio_on(air.air, "other", "F1:00:00:00:00:02")
        await stranger.power_on()
        data = air.boards["1"].controller.le_legacy_advertiser.advertising_data
        controller.le_legacy_advertiser.begin(20, data, b"", True)
        async with ble_host(air, connect=False) as host:
            host.medium._expected = {b"none"}
            ble = {channel.name: channel for channel in await host.medium.discover()}
            assert set(ble) == {"Blindfield", f"Blindfield {air.targets['1'].device_id.hex()}"}
            with pytest.raises(LinkAbsent, match="no device of this program"):
                await ble["Blindfield"].open()
            assert host.medium.turns.held == 0

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ble_medium, "LOOK_S", 0.3)
        on_air(tmp_path, act)


def test_a_device_that_somebody_holds_is_told_as_such(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        async with ble_host(air) as first, ble_host(air, connect=False) as second:
            assert await second.medium.discover() == []  # it does not advertise
            assert (await first.clients["1"].status())["state"] == 0
            await first.channels["1"].close()
            (channel,) = await second.medium.discover()
            await first.channels["1"].open()
            with pytest.raises(LinkAbsent, match="held by another computer or phone"):
                await channel.open()
            assert (await first.clients["1"].status())["state"] == 0

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ble_medium, "LOOK_S", 0.3)
        patch.setattr("blindfield.links.ble_channel.HEAR_S", 0.2)
        on_air(tmp_path, act)


# Without an adapter


@pytest.mark.parametrize(
    ("trouble", "kind", "words"),
    [
        (Reason.NO_BLUETOOTH, LinkAbsent, "no Bluetooth adapter"),
        (Reason.POWERED_OFF, LinkAbsent, "switched off"),
        (Reason.DENIED_BY_USER, LinkDenied, "may not be used"),
    ],
)
def test_an_adapter_that_cannot_be_used_is_told_with_what_to_do(
    tmp_path: Path, trouble: Reason, kind: type[LinkError], words: str
) -> None:
    async def act(air: BleField) -> None:
        async with ble_host(air, connect=False) as host:
            host.central.trouble = trouble
            with pytest.raises(kind, match=words) as caught:
                await host.medium.discover()
            assert caught.value.remedy
            await host.medium.silence_all()  # tries, and does not fail
            host.central.mend()
            assert len(await host.medium.discover()) == 1

    on_air(tmp_path, act)


def test_an_adapter_that_vanishes_in_a_run_is_lost_and_found_again(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        async with ble_host(air) as host:
            link = DeviceLink(host.clients["1"])
            running = asyncio.create_task(link.run())
            await link.wait_up(5)
            await host.central.fail(Reason.NO_BLUETOOTH)
            await until(lambda: link.state is not LinkState.UP)
            await until(lambda: isinstance(link.failure, LinkAbsent))
            assert "no Bluetooth adapter" in str(link.failure)
            host.central.mend()
            await link.wait_up(5)
            assert (await host.clients["1"].status())["state"] == 0
            await link.close()
            await running

    on_air(tmp_path, act)


# What is said


def test_doubled_notifications_carry_nothing_twice(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        async with ble_host(air) as host:
            air.boards["1"].double = True
            for _ in range(20):
                await host.clients["1"].status()
            line = host.channels["1"]._wire
            assert line is not None
            assert line.doubled >= 20
            assert host.clients["1"].retries == host.clients["1"].ignored == 0

    on_air(tmp_path, act)


def test_a_lost_notification_costs_one_more_call(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        async with ble_host(air) as host:
            air.boards["1"].lost = 1
            await host.clients["1"].status()
            await host.clients["1"].status()
            assert host.clients["1"].retries == 1
            line = host.channels["1"]._wire
            assert line is not None
            assert line.gaps == 1

    on_air(tmp_path, act)


def test_a_flood_of_notifications_does_not_keep_the_host_from_its_answer(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        async with ble_host(air) as host:
            board = air.boards["1"]
            outbox, credit = board.value_handle(3), board.value_handle(4)
            (connection,) = board.connections.values()
            noise = random.Random(1)
            for _ in range(500):
                await board.notify(connection, outbox, noise.randbytes(noise.randrange(100)))
                await board.notify(connection, credit, noise.randbytes(noise.randrange(6)))
            assert (await host.clients["1"].status())["state"] == 0

    on_air(tmp_path, act)


def test_no_write_is_longer_than_the_link_takes(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        async with ble_host(air) as host:
            await host.start("1")
            assert 100 < max(host.central.written) <= 244

    on_air(tmp_path, act)


def test_mutated_frames_change_nothing(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        async with ble_host(air) as host:
            client, channel = host.clients["1"], host.channels["1"]
            line = channel._wire
            assert line is not None
            before = await client.status()
            draw = random.Random(7)
            bodies = [
                message.pack(wire.SILENCE),
                message.pack(wire.HELLO, 1, 0),
                message.pack(wire.REQUEST, 1000, b"\x81\x10", bytes(8)),
            ]
            for _ in range(MUTANTS):
                data = bytearray(frame.encode(1, draw.choice(bodies)))
                place = draw.randrange(len(data) - 1)
                data[place] ^= 1 << draw.randrange(8)
                await line.write(bytes(data))
            after = await client.status()
            same = ("clock_id", "silence_count", "latched", "state", "last_seq", "refusals")
            assert {name: after[name] for name in same} == {name: before[name] for name in same}

    on_air(tmp_path, act)


def test_a_link_cut_in_a_run_loses_and_doubles_nothing(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        async with ble_host(air) as host:
            client = host.clients["1"]
            link = DeviceLink(client)
            running = asyncio.create_task(link.run())
            await link.wait_up(5)
            await client.sync(8)
            await host.start("1")
            contacts_s = [await strike(air, "1", seed=1, ago_s=2.0)]
            losing = asyncio.create_task(air.lose("1"))
            contacts_s.append(await strike(air, "1", seed=2))
            await losing
            await until(lambda: link.state is LinkState.LOST)
            air.find("1")
            await link.wait_up(10)
            await client.sync(8)
            records = await host.journal("1")
            strikes = [record for record in records if record.kind == "strike"]
            assert [record.seq for record in records] == list(range(1, len(records) + 1))
            assert len(strikes) == len(contacts_s)
            for record, contact_s in zip(strikes, contacts_s, strict=True):
                device_us = ((record.lap << 30) + record.ms) * 1000 + record.us
                span = client.clock.to_host(device_us)
                assert span.low - 0.02 <= contact_s <= span.high + 0.02  # the detector's share
            await link.close()
            await running

    on_air(tmp_path, act)


# Silence


def test_silence_of_eight_with_one_held_and_one_out_of_range(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        async with ble_host(air, most=8) as host:
            for name, client in host.clients.items():
                await client.request("set_setting", 15, 200)
                await host.start(name, in_ms=400)
            await until(lambda: all(target.pulses for target in air.targets.values()))
            hostile = await air.central("hostile")
            await host.channels["7"].close()
            await hostile.device.connect(air.boards["7"].address, timeout=5)
            lost = air.boards["8"].controller
            air.air.away.add(lost)  # its link seems to stand for a while still

            async with asyncio.timeout(10):  # which keeps nobody else waiting
                await host.medium.silence_all()
            six = [host.clients[name] for name in "123456"]
            replies = await asyncio.gather(*(client.status() for client in six))
            assert [(r["latched"], r["may_send"]) for r in replies] == [(True, False)] * 6
            assert set(host.medium.unreached) == {host.channels[n].name for n in "78"}
            air.air.end_links(lost)
            await until(lambda: host.channels["8"].state is ChannelState.LOST)

            held = air.boards["7"].controller.le_legacy_advertiser  # hears it from the six
            await until(lambda: held.enabled and not held.connectable)
            sent, out_of_reach = len(air.targets["7"].pulses), len(air.targets["8"].pulses)
            await until(lambda: len(air.targets["8"].pulses) >= out_of_reach + 2)  # it sends on
            assert len(air.targets["7"].pulses) == sent

    on_air(tmp_path, act, count=8)


def test_silence_reaches_the_devices_whose_turn_it_is_not(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        async with ble_host(air, most=1) as host:
            await host.medium.silence_all()
            await until(lambda: not host.medium.unreached)
            statuses = await asyncio.gather(*(c.status() for c in host.clients.values()))
            assert all(status["latched"] for status in statuses)
            assert host.medium.turns.held <= 1

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("blindfield.links.ble_turns.DWELL_S", 0.1)
        on_air(tmp_path, act, count=2)


def test_silence_needs_neither_key_nor_an_open_channel(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        async with ble_host(air, connect=False) as host:
            await host.medium.silence_all()
            assert host.medium.unreached == ()
            await host.connect()
            for name in air.targets:
                causes = [r.data["cause"] for r in await host.journal(name) if r.kind == "silenced"]
                assert causes == ["frame"]

    on_air(tmp_path, act, count=3)


# Turns


def test_more_devices_than_connections_are_all_served(tmp_path: Path) -> None:
    async def act(air: BleField) -> None:
        async with ble_host(air, most=2) as host:
            for _ in range(2):
                replies = await asyncio.gather(*(c.status() for c in host.clients.values()))
                assert [reply["state"] for reply in replies] == [0] * 4
                assert host.medium.turns.held <= 2
                assert sum(bool(board.connections) for board in air.boards.values()) <= 2

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("blindfield.links.ble_turns.DWELL_S", 0.1)
        on_air(tmp_path, act, count=4)
