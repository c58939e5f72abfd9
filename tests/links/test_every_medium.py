"""What every medium must stand: loss, doubles, changed frames, and a minute without a link."""

from __future__ import annotations

import asyncio

import pytest

from blindfield.links.client import DeviceClient
from blindfield.links.link import DeviceLink
from blindfield.links.records import JournalRecord, decode
from blindfield.model.errors import LinkError
from blindfield.model.messages import MESSAGES, MessageSpec
from fieldcore import frame, message, wire
from fieldcore.instant import total_us
from support.every_medium import WAYS, Way, now_s, on_way
from support.mutations import set_sheet, stand_mutations

CUT_S = 60.0
MUTATIONS = 2000

SAMPLES = {
    "u8": (0, 255),
    "u16": (0, 0xFFFF),
    "u30": (0, 0x3FFFFFFF),
    "u32": (0, 0xFFFFFFFF),
    "i32": (0, -0x80000000),
    "bool": (False, True),
    "bytes8": (bytes(8), b"\xff" * 8),
    "bytes12": (bytes(12), b"\xff" * 12),
    "text": ("", "a board's name"),
    "blob": (b"", bytes(range(96))),
}

every_medium = pytest.mark.parametrize("kind", WAYS)


async def records_of(client: DeviceClient) -> list[JournalRecord]:
    journal_id, last, raw = await client.fetch(0, 0)
    found = [decode(record) for record in raw]
    while found and found[-1].seq < last:
        _, last, raw = await client.fetch(journal_id, found[-1].seq)
        found += [decode(record) for record in raw]
    return found


@every_medium
def test_a_question_finds_its_answer(kind: str) -> None:
    async def act(way: Way) -> None:
        client = await way.client()
        hello = await client.connect()
        assert hello.device_id == way.device.board.device_id
        status = await client.status()
        assert status["clock_id"] == hello.clock_id
        (look,) = await client.sync(1)
        assert look.sent_s <= look.received_s
        await client.close()

    on_way(kind, act)


@every_medium
def test_lost_and_doubled_frames_carry_nothing_out_twice(kind: str) -> None:
    async def act(way: Way) -> None:
        client = await way.client()
        await client.connect()
        way.loss, way.doubling = 0.15, 0.15
        before = way.device.opening._counter
        for value in range(700, 730):
            await client.request("set_setting", 2, value)
        assert way.device.opening._counter == before + 30
        assert way.device.settings[2] == 729
        assert len(way.device.board.kept) == 30  # type: ignore[attr-defined]
        assert client.retries > 0
        await client.close()

    on_way(kind, act)


@every_medium
def test_changed_frames_change_nothing(kind: str) -> None:
    async def act(way: Way) -> None:
        assert await stand_mutations(way, MUTATIONS) > MUTATIONS / 4

    on_way(kind, act)


@every_medium
def test_a_minute_without_a_link_in_a_run_loses_and_doubles_nothing(kind: str) -> None:
    struck_s: list[tuple[float, float]] = []

    async def act(way: Way) -> None:
        client = await way.client()
        link = DeviceLink(client)
        running = asyncio.create_task(link.run())
        await link.wait_up(30)
        await client.sync(8)
        await set_sheet(client, ahead_ms=500)
        await strike(way, 2.0)
        way.cut = True
        pulses = way.device.board.pulses  # type: ignore[attr-defined]
        asking = asyncio.create_task(ask_in_vain(client))
        for _ in range(6):
            await strike(way, CUT_S / 6)
        assert await asking
        way.cut = False
        assert way.device.board.pulses - pulses > CUT_S / 4  # type: ignore[attr-defined]
        await until_heard(client, link)
        await strike(way, 1.0)
        records = await records_of(client)
        await client.sync(8)
        assert [r.seq for r in records] == list(range(1, len(records) + 1))
        strikes = [r for r in records if r.kind == "strike"]
        assert len(strikes) == len(struck_s) == 8
        for record, (before_s, after_s) in zip(strikes, struck_s, strict=True):
            span = client.clock.to_host(total_us(record.lap, record.ms, record.us))
            assert span.low <= after_s
            assert before_s <= span.high
        await link.close()
        await running

    async def strike(way: Way, after_s: float) -> None:
        await asyncio.sleep(after_s)
        before_s = now_s()
        with way.held() as device:
            device.note(wire.EVENT_STRIKE, bytes(8))
        struck_s.append((before_s, now_s()))

    async def ask_in_vain(client: DeviceClient) -> bool:
        try:
            await client.status()
        except LinkError:
            return True
        return False

    async def until_heard(client: DeviceClient, link: DeviceLink) -> None:
        async with asyncio.timeout(120):
            while True:
                try:
                    await link.wait_up(60)
                    await client.status()
                    return
                except LinkError:
                    await asyncio.sleep(0.5)

    on_way(kind, act)


@pytest.mark.parametrize("spec", MESSAGES, ids=lambda spec: spec.name)
def test_every_single_bit_error_in_a_frame_of_each_kind_is_caught(spec: MessageSpec) -> None:
    for place in (0, 1):
        body = message.pack(spec.id, *(SAMPLES[field.kind][place] for field in spec.fields))
        whole = frame.encode(40, body)
        for bit in range(8 * len(whole)):
            changed = bytearray(whole)
            changed[bit >> 3] ^= 1 << (bit & 7)
            reader = frame.Reader()
            reader.feed(changed)
            assert reader.next() is None
