"""The shared pair in trouble: silence, talkers, bad wires, odd adapters, many questions."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest

from blindfield.links.bus_line import BYTE_S
from blindfield.links.bus_medium import AGAIN_S, BusMedium
from blindfield.links.bus_port import SerialBusPort, latency_remedy
from blindfield.links.channel import ChannelState
from blindfield.links.client import DeviceClient
from blindfield.links.medium import open_medium
from blindfield.model.errors import LinkAbsent, LinkError, LinkLost, Refused
from support.bus_field import ADAPTER_S, BusField, SimPort, now_s, on_bus
from support.memory_link import KEY
from support.scenarios import small_field

NUMBER = b"device-1"
POLL_BYTES = 10


# Silence


def test_silence_waits_for_one_exchange_at_most_and_then_is_said_three_times() -> None:
    async def act(field: BusField) -> None:
        clients = await field.clients()
        asking = [asyncio.create_task(client.fetch(0, 0)) for client in clients]
        await asyncio.sleep(0.005)
        begun_s = now_s()
        await field.medium.silence_all()
        offs = [device.silenced_s for device in field.devices]
        assert all(device.device.journal.silence_count == 3 for device in field.devices)
        assert all(off is not None and off - begun_s < 0.1 for off in offs)
        await asyncio.gather(*asking)

    on_bus(6, act)


def test_silence_without_having_looked_who_is_there() -> None:
    async def act(field: BusField) -> None:
        await field.medium.silence_all()
        assert all(device.device.journal.latched for device in field.devices)
        field.port.unplug()
        await field.medium.silence_all()  # a port that is gone raises nothing

    on_bus(3, act)


def test_a_break_that_a_post_holds_silences_all_through_any_traffic() -> None:
    async def act(field: BusField) -> None:
        post = field.add(NUMBER, role=1)
        clients = await field.clients()
        asking = [asyncio.create_task(client.sync(20)) for client in clients]
        await asyncio.sleep(0.05)
        post.link.hold_break()
        await asyncio.sleep(0.03)
        assert all(d.device.journal.latched for d in field.devices if d is not post)
        await asyncio.gather(*asking)

    on_bus(4, act)


# Talkers


def test_a_talker_is_named_and_left_alone_and_the_others_go_on() -> None:
    async def act(field: BusField) -> None:
        clients = await field.clients()
        field.devices[2].tap.set_babbling(True)
        await asyncio.sleep(8)
        name = field.devices[2].board.device_id.hex()
        assert [name in notice for notice in field.notices] == [True]
        assert "talks without being asked" in field.notices[0]
        assert "Unplug it" in field.notices[0]
        assert clients[2].channel.state is ChannelState.LOST
        with pytest.raises(LinkError, match="talks without being asked"):
            await clients[2].connect()
        assert (await clients[0].status())["message"] == "status_is"
        await field.medium.silence_all()
        others = [device for device in field.devices if device is not field.devices[2]]
        assert all(device.device.journal.latched for device in others)
        field.devices[2].tap.set_babbling(False)
        await asyncio.sleep(AGAIN_S)
        await clients[2].connect()
        assert (await clients[2].status())["message"] == "status_is"

    on_bus(5, act)


def test_the_fields_own_devices_are_found_although_somebody_talks() -> None:
    async def act(field: BusField) -> None:
        field.devices[1].tap.set_babbling(True)
        clients = [DeviceClient(channel, KEY) for channel in await field.medium.discover()]
        assert len(clients) == 3
        assert "too noisy" in field.notices[-1]
        assert "Only devices that the field names" in field.notices[-1]
        await asyncio.sleep(8)
        assert "nobody can be named" in field.notices[-1]  # it was never heard as itself
        await clients[0].connect()
        assert (await clients[0].status())["message"] == "status_is"

    on_bus(4, act, place=small_field(5))


def test_a_device_that_was_away_before_is_not_blamed_for_a_stranger_who_talks() -> None:
    async def act(field: BusField) -> None:
        await field.clients()
        field.devices[0].tap.cut = True
        await asyncio.sleep(5)
        stranger = field.pair.tap()
        stranger.set_babbling(True)
        await asyncio.sleep(6)
        stranger.set_babbling(False)
        assert field.notices != []
        assert all("nobody can be named" in notice for notice in field.notices)

    on_bus(4, act)


def test_a_talker_without_a_rest_cannot_be_named_and_that_is_said() -> None:
    async def act(field: BusField) -> None:
        await field.clients()
        field.devices[1].tap.rests = False
        field.devices[1].tap.set_babbling(True)
        await asyncio.sleep(6)
        assert "nobody can be named" in field.notices[0]
        assert "silence may not get through" in field.notices[0]
        # In this model a break outlasts the talker; of true drivers nobody has shown it.
        await field.medium.silence_all()
        latched = [bool(device.device.journal.latched) for device in field.devices]
        assert latched == [True] * 3

    on_bus(3, act)


def test_a_device_that_says_whole_frames_unasked_is_named() -> None:
    async def act(field: BusField) -> None:
        clients = await field.clients()
        wordy = field.devices[1]
        for _ in range(30):
            await asyncio.sleep(0.1)
            wordy.link._asked_us, wordy.link._may_speak = wordy.now_us(), True
            wordy.link._say_token(wordy.device)
            wordy.now_and_on()
        assert wordy.board.device_id.hex() in field.notices[0]
        assert clients[1].channel.state is ChannelState.LOST

    on_bus(3, act)


def test_two_hosts_on_one_pair_are_told_and_either_may_silence() -> None:
    async def act(field: BusField) -> None:
        clients = await field.clients()
        another = BusMedium("bus:pair", SimPort(field.pair.tap(ADAPTER_S)))
        told: list[str] = []
        another.bus.troubles.on_notice = told.append
        theirs = [DeviceClient(channel, KEY) for channel in await another.discover()]
        await asyncio.gather(*(client.connect() for client in theirs))
        await asyncio.sleep(3)
        assert "Another host asks on this pair" in field.notices[0]
        assert "Another host asks on this pair" in told[0]
        with pytest.raises(LinkLost):  # its opening was replaced by the other host's
            await clients[0].status()
        for ours in clients:
            await ours.connect()
            assert (await ours.status())["message"] == "status_is"
        await another.silence_all()
        assert all(device.device.journal.latched for device in field.devices)
        await another.close()

    on_bus(3, act)


# Bad wires and odd adapters


def test_noise_costs_time_and_nothing_else() -> None:
    async def act(field: BusField) -> None:
        clients = await field.clients()
        field.pair.noise = 0.003
        for _ in range(5):
            for client in clients:
                await client.status()
        await asyncio.sleep(20)
        assert field.notices == []
        assert all(client.channel.state is ChannelState.OPEN for client in clients)

    on_bus(4, act, noise=0.002)


def test_an_adapter_that_hears_itself_is_as_good() -> None:
    async def act(field: BusField) -> None:
        field.port.tap.echo = True
        clients = await field.clients()
        assert (await clients[2].status())["message"] == "status_is"
        await asyncio.sleep(2)
        assert not any(seat.misses for seat in field.medium.bus.seats.values())
        assert field.medium.bus.round_s < 0.02
        field.devices[0].tap.cut = True
        with pytest.raises(LinkLost):
            await clients[0].status()

    on_bus(3, act)


def test_a_slow_adapter_is_measured_told_and_served() -> None:
    async def act(field: BusField) -> None:
        clients = await field.clients()
        (notice,) = field.notices
        assert notice.startswith(
            "pair: The adapter, or a busy computer, keeps answers back for 16 ms"
        )
        assert notice.endswith("Turn its timer down.")
        assert (await clients[0].status())["message"] == "status_is"
        assert clients[0].retries == 0

    on_bus(2, act, adapter_s=0.016)


def test_a_quick_adapter_is_not_told() -> None:
    async def act(field: BusField) -> None:
        await field.clients()
        assert field.notices == []
        assert field.medium.bus.adapter_s == pytest.approx(0.0013, abs=0.0003)

    on_bus(2, act)


def test_people_hear_the_name_that_the_field_gives_a_device(tmp_path: Path) -> None:
    place = small_field(2, folder=tmp_path)
    medium = open_medium("bus:pair", tmp_path, place=place)
    assert isinstance(medium, BusMedium)
    assert medium.bus.troubles.name_of(place.targets[1].device_id) == "2"
    assert medium.bus.troubles.name_of(NUMBER) == f"the device {NUMBER.hex()}"


def test_the_remedy_for_a_slow_adapter_is_that_of_the_system(tmp_path: Path) -> None:
    (tmp_path / "ttyUSB7").mkdir()
    (tmp_path / "ttyUSB7" / "latency_timer").write_text("16\n")
    here = latency_remedy("/dev/ttyUSB7", "linux", tmp_path)
    assert here.endswith(f"echo 1 | sudo tee {tmp_path}/ttyUSB7/latency_timer")
    assert "another adapter" in latency_remedy("/dev/ttyACM0", "linux", tmp_path)
    assert "Device Manager" in latency_remedy("COM3", "win32")
    assert "another adapter" in latency_remedy("/dev/cu.usbserial", "darwin")


# The channel


def test_the_same_question_while_it_waits_is_the_same() -> None:
    async def act(field: BusField) -> None:
        clients = await field.clients()
        field.port.written.clear()
        statuses = await asyncio.gather(*(client.status() for client in clients))
        assert len(statuses) == 12
        assert sum(client.retries for client in clients) > 0
        asked = [data for data in field.port.written if len(data) > POLL_BYTES]
        assert len(asked) == len(set(asked)) == 12

    on_bus(12, act)


def test_a_burst_of_looks_at_a_clock_is_not_spread_by_the_others() -> None:
    async def act(field: BusField) -> None:
        clients = await field.clients()
        bursts = await asyncio.gather(*(client.sync(8) for client in clients))
        for burst in bursts:
            assert min(look.received_s - look.sent_s for look in burst) < 0.01
        for client, device in zip(clients, field.devices, strict=True):
            now_us, at_s = device.now_us(), now_s()
            clock = device.device.clock
            clock.advance(now_us)
            span = client.clock.to_host((((clock.lap << 30) + clock.ms) * 1000) + clock.us)
            assert span.low <= at_s <= span.high
            assert span.high - span.low < 0.02

    on_bus(8, act)


def test_a_closed_channel_takes_nothing_and_opens_again() -> None:
    async def act(field: BusField) -> None:
        client = (await field.clients())[0]
        await client.close()
        with pytest.raises(LinkLost):
            client.channel.send(b"\x81\x10")
        await client.connect()
        assert (await client.status())["message"] == "status_is"

    on_bus(2, act)


def test_a_wrong_key_is_told_as_on_every_medium() -> None:
    async def act(field: BusField) -> None:
        (channel,) = await field.medium.discover()
        with pytest.raises(Refused, match="wrong key"):
            await DeviceClient(channel, bytes(32)).connect()

    on_bus(1, act)


def test_the_url_names_a_port_and_a_relative_path_is_beside_the_field(tmp_path: Path) -> None:
    medium = open_medium("bus:ports/bus", tmp_path)
    assert isinstance(medium, BusMedium)
    assert isinstance(medium.bus.port, SerialBusPort)
    assert medium.bus.port.path == str(tmp_path / "ports/bus")
    assert not medium.may_install_key

    async def absent() -> Any:
        with pytest.raises(LinkAbsent, match="bus: There is no port"):
            await medium.discover()
        await medium.silence_all()
        await medium.close()

    asyncio.run(absent())


def test_a_poll_and_its_token_take_what_they_are_said_to() -> None:
    async def act(field: BusField) -> None:
        await field.clients()
        await asyncio.sleep(2)
        assert field.medium.bus.round_s == pytest.approx(
            3 * (25 * BYTE_S + 0.0003 + 0.001 + 0.0005), abs=0.001
        )

    on_bus(3, act)
