"""The medium `sim:`: its URL, its channels, whose ears a line has."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from blindfield.links.channel import ChannelState
from blindfield.links.sim.board import POST
from blindfield.links.sim.field import SimField, sim_device_id
from blindfield.links.sim.medium import medium_of_url
from blindfield.links.virtual_time import run_virtual
from blindfield.model.errors import ConfigError
from blindfield.model.field import Field, Post
from fieldcore import message, wire
from support.hosting import Host, simulate

HELLO = message.pack(wire.HELLO, wire.MAJOR, wire.MINOR)


def test_discovery_gives_the_same_channels_each_time_and_closing_says_so() -> None:
    async def script(field: SimField) -> None:
        medium = field.medium()
        first, again = await medium.discover(), await medium.discover()
        assert [a is b for a, b in zip(first, again, strict=True)] == [True, True]
        states: list[ChannelState] = []
        first[0].on_state = states.append
        await first[0].open()
        await medium.close()
        assert states == [ChannelState.OPEN, ChannelState.CLOSED]
        assert first[1].state is ChannelState.CLOSED
        assert field.devices["1"].core is not None  # the field is not the medium's own

    simulate(script)


def test_who_opened_a_line_last_hears_the_device() -> None:
    async def script(field: SimField) -> None:
        heard: list[str] = []
        old, new = (await field.medium().discover())[0], (await field.medium().discover())[0]
        old.on_frame = lambda *frame: heard.append("old")
        new.on_frame = lambda *frame: heard.append("new")
        await old.open()
        old.send(HELLO)
        await asyncio.sleep(1.0)
        await new.open()
        new.send(HELLO)
        await asyncio.sleep(1.0)
        assert heard == ["old", "new"]

    simulate(script)


def test_closed_channel_hears_nothing_and_opens_again() -> None:
    async def script(field: SimField) -> None:
        host = await Host(field).connect()
        channel = host.clients["1"].channel
        heard: list[bytes] = []
        channel.on_frame = lambda address, body, host_s: heard.append(body)
        channel.send(HELLO)
        await channel.close()
        await asyncio.sleep(1.0)
        assert heard == []
        await channel.open()
        channel.send(HELLO)
        await asyncio.sleep(1.0)
        assert len(heard) == 1

    simulate(script)


def test_url_with_a_field_and_key_gives_that_fields_devices() -> None:
    home = Path("home")
    place = Field(
        name="Larch Hollow", folder=home, media=("sim:",), key_path=home, logbook_path=home,
        posts=(Post("hut", b"post-hut"),),
    )  # fmt: skip
    medium = medium_of_url("sim:practice;seed=3", place, bytes(32))
    [device] = medium.field.devices.values()
    assert (device.name, device.board.device_id, device.board.role) == ("hut", b"post-hut", POST)
    assert device.board.key() == bytes(32)


def test_url_says_how_many_devices_there_are_and_how_their_lines_are() -> None:
    async def main() -> None:
        medium = medium_of_url("sim:practice; targets=3; post=2; seed=7; loss=0.25; doubling=0.5")
        names = [channel.name for channel in await medium.discover()]
        assert names == ["sim:1", "sim:2", "sim:3", "sim:post", "sim:post-2"]
        assert medium.field.devices["1"].line.loss == 0.25
        assert medium.field.devices["post"].line.doubling == 0.5
        assert medium.field.devices["1"].board.device_id == sim_device_id(7, 0)
        await medium.close()
        assert all(device.core is None for device in medium.field.devices.values())

    run_virtual(main())


@pytest.mark.parametrize(
    ("url", "sentence"),
    [
        ("sim:target=6", 'no option "target". The nearest is "targets"'),
        ("sim:practice;los=1", 'no option "los". The nearest is "loss"'),
        ("sim:targets=6;seven", 'no option "seven". The nearest is "seed"'),
        ("sim:targets=65", 'targets cannot be "65". It is from 0 to 64; the nearest is targets=64'),
        ("sim:seed=-3", 'seed cannot be "-3". It is from 0'),
        ("sim:targets=2.5", 'targets cannot be "2.5"'),
        ("sim:loss=nan", 'loss cannot be "nan"'),
        ("sim:loss=", 'loss cannot be ""'),
    ],
)
def test_wrong_url_names_the_option_and_the_nearest_that_is_right(url: str, sentence: str) -> None:
    with pytest.raises(ConfigError) as raised:
        medium_of_url(url)
    assert sentence in str(raised.value)
