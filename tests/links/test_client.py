"""The sealed link against a real device core, on lines that lose and double frames."""

import asyncio

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blindfield.links.channel import ChannelState, Patience
from blindfield.links.client import DeviceClient
from blindfield.links.virtual_time import run_virtual
from blindfield.model.errors import LinkLost, ProtocolError, Refused
from blindfield.model.messages import REFUSALS
from fieldcore import cbor, message, opening, wire
from support.memory_link import KEY, MemoryChannel, with_client

SETTING = 1  # index of a setting that any value between its bounds fits


def test_a_sealed_refusal_is_told_in_the_tables_words() -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        await client.connect()
        with pytest.raises(Refused, match=r"^4: holds no such sheet") as caught:
            await client.request("start", 2, 0, 0, 0, 0, 0)
        assert caught.value.code == wire.NO_SLOT
        assert caught.value.what == REFUSALS[wire.NO_SLOT - 1][1] + "."

    with_client(act)


def test_a_silent_device_is_given_up_after_so_many_tries() -> None:
    patience = Patience(first_s=0.1, growth=2.0, longest_s=0.5, tries=5)
    line = MemoryChannel()
    whys: list[str] = []

    async def run() -> None:
        client = DeviceClient(line, KEY, name="4", patience=patience)
        client.on_lost = whys.append
        line.cut = True
        loop = asyncio.get_running_loop()
        with pytest.raises(LinkLost, match=r"^4: gave no answer to 5 calls\. Check its cable"):
            await client.connect()
        assert loop.time() == pytest.approx(0.1 + 0.2 + 0.4 + 0.5 + 0.5)
        assert client.retries == 4

    run_virtual(run())
    assert len(line.sent) == 5
    assert len(set(line.sent)) == 1
    assert whys == ["gave no answer to 5 calls"]


def test_timeout_s_bounds_the_whole_request() -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        await client.connect()
        line.cut = True
        loop = asyncio.get_running_loop()
        begun_s = loop.time()
        with pytest.raises(LinkLost, match=r"no answer within 0\.25 s"):
            await client.request("status", timeout_s=0.25)
        assert loop.time() - begun_s == pytest.approx(0.25)
        line.cut = False
        assert (await client.status())["state"] == 0  # the given-up counter is not in the way

    with_client(act)


def test_requests_of_many_tasks_go_one_after_the_other() -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        await client.connect()
        values = range(20, 40)
        await asyncio.gather(*(client.request("set_setting", SETTING, value) for value in values))
        assert [int.from_bytes(kept[4:8], "little") for kept in line.board.kept] == list(values)
        assert client.retries == 0

    with_client(act)


def test_a_cancelled_request_leaves_the_link_usable() -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        await client.connect()
        asking = asyncio.create_task(client.status())
        await asyncio.sleep(0.0001)
        asking.cancel()
        with pytest.raises(asyncio.CancelledError):
            await asking
        assert (await client.request("settings"))["message"] == "settings_are"
        assert client.ignored == 1

    with_client(act)


def test_losing_the_channel_ends_the_waiting_at_once() -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        whys: list[str] = []
        client.on_lost = whys.append
        await client.connect()
        line.cut = True
        loop = asyncio.get_running_loop()
        begun_s = loop.time()
        loop.call_later(0.01, line.unplug)
        with pytest.raises(LinkLost, match=r"^4: the connection is gone"):
            await client.status()
        assert loop.time() - begun_s == pytest.approx(0.01)
        assert whys == ["the connection is gone"]
        with pytest.raises(LinkLost, match=r"^4: The port is gone"):
            await client.status()

    with_client(act)


def test_hints_are_passed_on() -> None:
    hints = []

    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        await client.connect()
        client.on_data = lambda: hints.append(1)
        line.device.silence(wire.BY_BUTTON)
        await asyncio.sleep(0.01)

    with_client(act)
    assert hints == [1]


def test_sync_brackets_the_devices_stamps() -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        loop = asyncio.get_running_loop()
        await client.connect()
        for exchange in await client.sync(8):
            assert exchange.clock_id == line.device.journal.clock_id
            assert 0.001 <= exchange.received_s - exchange.sent_s <= 0.004 + 1e-9
        line.device.clock.advance(line.now_us())
        clock = line.device.clock
        span = client.clock.to_host((clock.lap * 2**30 + clock.ms) * 1000 + clock.us)
        assert span.low <= loop.time() <= span.high

    with_client(act)


def test_an_answer_to_a_repeated_look_at_the_clock_counts_from_the_first_sending() -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        await client.connect()
        line.loss = 0.7
        for exchange in await client.sync(6):
            # The stamp may be of any sending: whatever the bounds are, the device's own truth
            # (a perfect clock that began at 0 here) must be inside.
            true_s = (exchange.device_us - 300_000_000) * 1e-6 + first_s
            assert exchange.sent_s - 1e-6 <= true_s <= exchange.received_s + 1e-6
        assert client.retries > 0

    line = MemoryChannel(seed=5)
    first_s = 0.0

    async def run() -> None:
        nonlocal first_s
        await line.open()
        first_s = asyncio.get_running_loop().time()
        line.device.clock.advance(line.now_us())
        await act(DeviceClient(line, KEY, patience=Patience(tries=40)), line)

    run_virtual(run())


def test_fetch_gives_records_of_32_bytes_and_acknowledges() -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        await client.connect()
        for _ in range(8):
            line.device.note(wire.EVENT_KNOCK, bytes(8))
        journal_id, last_seq, records = await client.fetch(0, 0)
        assert journal_id == line.device.journal.journal_id
        assert last_seq == 9
        assert [record[4] for record in records] == [1, 2, 3, 4, 5, 6]
        _, _, more = await client.fetch(journal_id, 6)
        assert [record[4] for record in more] == [7, 8, 9]
        assert all(len(record) == 32 for record in more)
        assert line.device.journal.acked_seq == 6

    with_client(act)


def test_an_answer_this_program_cannot_read_is_an_error_of_the_protocol() -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        await client.connect()
        line.device._reply_to = lambda body: cbor.dumps([99, 1])  # type: ignore[method-assign]
        with pytest.raises(ProtocolError, match="cannot read"):
            await client.status()

    with_client(act)


def test_forged_and_foreign_answers_are_ignored() -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        await client.connect()
        line.delay_s = (0.01, 0.01)
        asking = asyncio.create_task(client.status())
        await asyncio.sleep(0.001)
        forged = message.pack(wire.DONE)
        line.hand_in(message.pack(wire.REPLY, 1, forged, bytes(8)))  # no valid tag
        line.hand_in(message.pack(wire.REPLY, 2, forged, bytes(8)))  # another counter
        line.hand_in(message.pack(wire.REFUSED, wire.NO_STALE, wire.REQUEST))
        line.hand_in(message.pack(wire.REFUSED, wire.NO_BAD_TAG, wire.REQUEST))
        line.hand_in(message.pack(wire.REFUSED, wire.NO_NO_OPENING, wire.OPEN))  # not what we asked
        line.hand_in(b"\x00junk")
        line.hand_in(message.pack(wire.OPENED, bytes(8)))
        line.hand_in(message.pack(wire.HELLO, 1, 0), address=3)
        assert (await asking)["message"] == "status_is"
        assert client.ignored == 8

    with_client(act)


def test_the_reply_to_a_request_is_taken_from_the_device_alone() -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        await client.connect()
        line.cut = True
        asking = asyncio.create_task(client.status())
        await asyncio.sleep(0)
        sealed = client._sealed
        assert sealed is not None
        body = message.pack(wire.DONE)
        # Our own request sent back to us carries a good tag, but of the other direction.
        tag = sealed.tag(opening.TO_DEVICE, body)
        line.hand_in(message.pack(wire.REPLY, 1, body, tag))
        # A good answer, but the frame is for somebody else on the line.
        good = message.pack(wire.REPLY, 1, body, sealed.tag(opening.TO_HOST, body))
        line.hand_in(good, address=3)
        assert client.ignored == 2
        line.hand_in(good)
        assert (await asking)["message"] == "done"

    with_client(act)


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    loss=st.floats(0, 0.3),
    doubling=st.floats(0, 0.3),
    slowest_s=st.sampled_from((0.002, 0.05)),
)
def test_lost_and_doubled_frames_refuse_nothing_and_do_nothing_twice(
    seed: int, loss: float, doubling: float, slowest_s: float
) -> None:
    async def run() -> None:
        client = DeviceClient(line, KEY, patience=Patience(tries=30))
        await client.connect()
        for number in range(60):
            await client.request("set_setting", SETTING, 20 + number)
        assert (await client.status())["message"] == "status_is"

    line = MemoryChannel(loss=loss, doubling=doubling, delay_s=(0.0005, slowest_s), seed=seed)
    run_virtual(run())
    done = [int.from_bytes(kept[4:8], "little") for kept in line.board.kept]
    assert done == list(range(20, 80))


def test_the_channel_can_be_closed_while_somebody_waits() -> None:
    async def act(client: DeviceClient, line: MemoryChannel) -> None:
        await client.connect()
        line.cut = True
        asking = asyncio.create_task(client.status())
        await asyncio.sleep(0.01)
        await client.close()
        with pytest.raises(LinkLost, match="was closed"):
            await asking
        assert line.state is ChannelState.CLOSED

    with_client(act)
