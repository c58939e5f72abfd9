"""Hello, version and opening, against a real device core."""

import asyncio

import pytest

from blindfield.links.channel import Patience
from blindfield.links.client import DeviceClient
from blindfield.links.handshake import Hello, Hellos
from blindfield.model.errors import LinkAbsent, LinkLost, Refused, VersionError
from fieldcore import cbor, message, opening, wire
from fieldcore.seal import Key
from support.memory_link import DEVICE_ID, KEY, DeskBoard, MemoryChannel, with_client


def test_connect_opens_the_channel_and_tells_who_is_there() -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        hello = await client.connect()
        assert (hello.major, hello.device_id, hello.board) == (wire.MAJOR, DEVICE_ID, "desk")
        assert hello.clock_id == line.device.journal.clock_id
        assert client.hello == hello
        status = await client.status()
        assert status["message"] == "status_is"
        assert status["battery_mv"] == 3000
        assert status["latched"] is False

    assert with_client(act).opened == 1


def test_a_request_opens_by_itself() -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        await line.open()
        assert (await client.request("settings"))["message"] == "settings_are"

    with_client(act)


def test_an_absent_channel_is_told_under_the_devices_name() -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        line.away = True
        with pytest.raises(LinkAbsent, match=r"^4: There is no such port"):
            await client.connect()

    with_client(act)


def test_a_wrong_key_is_refused_and_nothing_is_opened() -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        stranger = DeviceClient(line, bytes(32), name="4")
        with pytest.raises(Refused, match="wrong key") as caught:
            await stranger.connect()
        assert caught.value.code == wire.NO_BAD_TAG
        with pytest.raises(message.Refusal) as refusal:
            line.device.opening.unwrap(1, b"", bytes(8))
        assert refusal.value.code == wire.NO_NO_OPENING

    with_client(act)


def test_a_device_without_a_key_says_so() -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        with pytest.raises(Refused, match="has no key") as caught:
            await client.connect()
        assert caught.value.code == wire.NO_NO_KEY

    with_client(act, board=DeskBoard(key=None))


@pytest.mark.parametrize(
    ("major", "says"),
    [
        (wire.MAJOR - 1, r"4: its program is older \(protocol 0.7\).*Load the device's program"),
        (wire.MAJOR + 1, r"4: this program is older .* than the device's \(2.7\).*Update Blindfi"),
    ],
)
def test_another_major_says_which_side_is_older_and_what_to_do(major: int, says: str) -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        line.cut = True
        await line.open()
        loop = asyncio.get_running_loop()
        # Only the first three places are alike in all versions.
        loop.call_later(0.01, line.hand_in, cbor.dumps([wire.HELLO_IS, major, 7, "else"]))
        with pytest.raises(VersionError, match=says):
            await client.connect()

    with_client(act)


def test_a_restarted_device_is_opened_anew_and_asked_again() -> None:
    restarts = []

    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        client.on_restart = lambda: restarts.append(client.hello and client.hello.clock_id)
        await client.connect()
        await client.sync(2)
        old = client.clock
        line.reboot()
        assert (await client.status())["clock_id"] == line.device.journal.clock_id
        assert restarts == [line.device.journal.clock_id]
        await client.sync(1)
        assert client.clock.clock_id != old.clock_id
        assert client.clocks.map_of(old.clock_id) is old

    with_client(act)
    assert len(restarts) == 1


def test_the_opening_of_another_host_is_replaced_without_a_restart_being_told() -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        client.on_restart = lambda: pytest.fail("the device did not restart")
        await client.connect()
        key = Key(KEY)
        line.device.opening.pending(bytes(12))
        line.device.opening.open(bytes(12), opening.open_tag(key, bytes(12), bytes(12), DEVICE_ID))
        with pytest.raises(LinkLost):  # bad_tag answers only what was changed on the way
            await client.request("status", timeout_s=1)
        await client.connect()
        assert (await client.status())["refusals"] > 0

    with_client(act)


@pytest.mark.parametrize("seed", range(40))
def test_a_line_that_doubles_everything_opens_soon(seed: int) -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        await client.connect()
        assert sum(body[1] == wire.HELLO for body in line.sent) <= 2
        assert (await client.status())["message"] == "status_is"
        assert asyncio.get_running_loop().time() < 0.5

    with_client(act, doubling=1.0, seed=seed)


def test_a_line_slower_than_the_patience_opens_in_the_end() -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        client.patience = Patience(tries=30)  # 60 ms at first, for answers that take up to 200 ms
        await client.connect()

    for seed in range(600):
        with_client(act, loss=0.05, doubling=0.2, delay_s=(0.0005, 0.1), seed=seed)


def test_a_nonce_is_told_once_however_often_it_comes() -> None:
    def hello_is(nonce: bytes) -> list[object]:
        return [wire.HELLO_IS, wire.MAJOR, 0, DEVICE_ID, 0, "desk", "1", bytes(8), nonce]

    hellos = Hellos("4")
    first = hellos.fresh(hello_is(b"\x07" + bytes(11)))
    assert isinstance(first, Hello)
    assert first.clock_id == 7
    assert hellos.fresh(hello_is(b"\x07" + bytes(11))) is None
    assert isinstance(hellos.fresh(hello_is(bytes(12))), Hello)
    assert hellos.fresh([wire.OPENED, bytes(8)]) is None
