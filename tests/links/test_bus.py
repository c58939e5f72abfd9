"""The master of the shared pair, against the firmware's own link on a simulated wire."""

from __future__ import annotations

import asyncio

import pytest

from blindfield.links.bus_medium import BusChannel, BusMedium
from blindfield.links.bus_seats import SLOW_S
from blindfield.links.channel import Channel, ChannelState
from blindfield.links.link import DeviceLink
from blindfield.model.errors import LinkAbsent, LinkBusy, LinkError, LinkLost
from fieldcore import wire
from support.bus_field import BusField, now_s, on_bus
from support.scenarios import small_field

NUMBER = b"device-1"
POLL_BYTES = 10


def number_of(channel: Channel) -> bytes:
    assert isinstance(channel, BusChannel)
    return channel.seat.number


async def found_by(field: BusField) -> list[bytes]:
    return sorted(number_of(channel) for channel in await field.medium.discover())


def numbers(field: BusField) -> list[bytes]:
    return sorted(device.board.device_id for device in field.devices)


# Finding


@pytest.mark.parametrize("count", [0, 1, 2, 9])
def test_everyone_is_found_and_nothing_had_to_be_set(count: int) -> None:
    async def act(field: BusField) -> None:
        assert await found_by(field) == numbers(field)
        addresses = [device.link.address for device in field.devices]
        assert len(set(addresses)) == count
        assert all(32 <= address <= 247 for address in addresses)

    on_bus(count, act)


def test_numbers_that_differ_in_their_last_bit_only_are_told_apart() -> None:
    alike = [bytes(7) + bytes((last,)) for last in (0, 1, 2)] + [b"\xff" * 8, b"\xff" * 7 + b"\xfe"]

    async def act(field: BusField) -> None:
        assert await found_by(field) == sorted(alike)

    on_bus(5, act, numbers=alike)


def test_another_host_finds_them_again_and_no_two_share_an_address() -> None:
    async def act(field: BusField) -> None:
        await field.medium.discover()
        field.devices[0].tap.cut = True  # keeps the address that it has
        await field.medium.close()
        another = BusMedium("bus:pair", field.port)
        await another.discover()
        field.devices[0].tap.cut = False
        assert len(await another.discover()) == 6
        assert len({device.link.address for device in field.devices}) == 6
        await another.close()

    on_bus(6, act)


def test_who_comes_later_is_found_by_the_next_look_and_the_others_stay_the_same() -> None:
    async def act(field: BusField) -> None:
        before = await field.medium.discover()
        field.add(NUMBER)
        after = await field.medium.discover()
        assert after[:2] == before
        assert number_of(after[2]) == NUMBER

    on_bus(2, act)


def test_the_fields_own_devices_are_called_by_their_numbers_and_strangers_found_too() -> None:
    place = small_field(8)

    async def act(field: BusField) -> None:
        begun_s = now_s()
        assert await found_by(field) == numbers(field)
        assert now_s() - begun_s < 0.6  # of numbers so alike a search alone takes 3 s
        field.add(b"stranger")
        assert b"stranger" in await found_by(field)

    on_bus(6, act, place=place)


def test_two_devices_with_the_number_of_a_fields_own_are_named() -> None:
    async def act(field: BusField) -> None:
        field.add(field.devices[0].board.device_id)
        one, twin = await field.medium.discover()
        assert number_of(one) == field.devices[1].board.device_id
        with pytest.raises(LinkBusy, match=r"have one number, that of 1\. Unplug one"):
            await twin.open()

    on_bus(2, act, place=small_field(2))


def test_an_endless_talker_makes_no_endless_search() -> None:
    async def act(field: BusField) -> None:
        field.devices[0].tap.rests = False
        field.devices[0].tap.set_babbling(True)
        with pytest.raises(LinkError, match="too noisy"):
            await field.medium.discover()

    on_bus(2, act)


# Two devices with one number


def test_two_devices_with_one_number_are_named_and_the_rest_found() -> None:
    async def act(field: BusField) -> None:
        field.add(NUMBER, seed=1)
        field.add(NUMBER, seed=2)
        *rest, twin = await field.medium.discover()
        assert len(rest) == 3
        with pytest.raises(LinkBusy, match=rf"Two devices .* {NUMBER.hex()}. Unplug one"):
            await twin.open()
        assert await field.medium.discover() == [*rest, twin]
        field.devices[-1].tap.cut = True
        *rest, last = await field.medium.discover()
        assert number_of(last) == NUMBER

    on_bus(3, act)


def test_a_second_device_with_a_number_plugged_in_later_is_noticed() -> None:
    async def act(field: BusField) -> None:
        clients = await field.clients()
        twin = field.add(clients[1].hello.device_id)  # type: ignore[union-attr]
        twin.link.address = field.devices[1].link.address
        twin.delay_s = 0.0005
        await asyncio.sleep(10)
        assert clients[1].channel.state is ChannelState.LOST
        assert len(field.notices) == 1
        assert "another device has the same number" in field.notices[0]
        assert twin.board.device_id.hex() in field.notices[0]
        assert (await clients[0].status())["message"] == "status_is"

    on_bus(3, act)


# Coming and going


def test_a_device_that_restarted_is_given_its_address_again() -> None:
    async def act(field: BusField) -> None:
        clients = await field.clients()
        field.devices[1].power_on()
        assert field.devices[1].link.address == 0
        assert (await clients[1].status())["message"] == "status_is"

    on_bus(2, act)


def test_an_absent_device_is_asked_now_and_then_and_comes_back() -> None:
    async def act(field: BusField) -> None:
        clients = await field.clients()
        field.devices[0].tap.cut = True
        await asyncio.sleep(2)
        written = len(field.port.written)
        await asyncio.sleep(10 * SLOW_S)
        ours = [data for data in field.port.written[written:] if NUMBER in data]
        assert 5 <= len(ours) <= 11
        with pytest.raises(LinkLost, match="gave no answer"):
            await clients[0].status()
        field.devices[0].tap.cut = False
        await asyncio.sleep(SLOW_S + 0.5)
        retries = clients[0].retries
        await clients[0].status()
        assert clients[0].retries == retries

    on_bus(2, act, numbers=[NUMBER, b"device-2"])


def test_an_unplugged_adapter_loses_all_and_each_comes_back_by_itself() -> None:
    async def act(field: BusField) -> None:
        clients = await field.clients()
        links = [DeviceLink(client) for client in clients]
        running = [asyncio.create_task(link.run()) for link in links]
        await asyncio.gather(*(link.wait_up(5) for link in links))
        field.port.unplug()
        assert all(client.channel.state is ChannelState.LOST for client in clients)
        with pytest.raises(LinkLost):
            await clients[0].status()
        await asyncio.sleep(10)
        assert isinstance(links[0].failure, LinkAbsent)
        field.port.away = False
        await asyncio.gather(*(link.wait_up(10) for link in links))
        field.port.written.clear()
        await asyncio.sleep(1)
        assert len(field.port.written) >= 9  # polled as before
        for link in links:
            await link.close()
        await asyncio.gather(*running)

    on_bus(3, act)


# Polls


def test_a_new_record_is_hinted_within_a_round_and_not_for_ever() -> None:
    async def act(field: BusField) -> None:
        client = (await field.clients())[3]
        hints: list[float] = []
        client.on_data = lambda: hints.append(now_s())
        journal_id, last, _ = await client.fetch(0, 0)
        await client.fetch(journal_id, last)
        await asyncio.sleep(3)
        hints.clear()
        field.devices[3].device.note(wire.EVENT_STRIKE, bytes(8))
        begun_s = now_s()
        await asyncio.sleep(0.6)
        assert len(hints) == 1
        assert hints[0] - begun_s < 0.3
        _, last, _ = await client.fetch(journal_id, last)
        await client.fetch(journal_id, last)
        hints.clear()
        await asyncio.sleep(5)
        assert hints == []

    on_bus(5, act)


def test_a_lost_opening_is_hinted() -> None:
    async def act(field: BusField) -> None:
        client = (await field.clients())[0]
        hints: list[float] = []
        client.on_data = lambda: hints.append(now_s())
        field.devices[0].power_on()
        await asyncio.sleep(1)
        hints.clear()
        await asyncio.sleep(3)
        assert 2 <= len(hints) <= 4

    on_bus(2, act)


def test_everyone_is_polled_as_often() -> None:
    async def act(field: BusField) -> None:
        await field.clients()
        field.port.written.clear()
        await asyncio.sleep(10)
        rounds = [field.port.written.count(data) for data in set(field.port.written)]
        assert len(rounds) == 4
        assert max(rounds) - min(rounds) <= 1
        assert 39 <= min(rounds) <= 41

    on_bus(4, act)
