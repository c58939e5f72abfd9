"""A device as a whole: its journal, its settings, and what the ground and the links tell it."""

from typing import Any

import pytest

from blindfield.model.settings import SETTINGS
from fieldcore import frame, message, sheet, wire
from support.device_bench import ID, DeviceBench, bodies, sheet_bytes

WRAP = 1 << 30
DAY_MS = 86_400_000


def refused(code: int, about: int) -> list[int]:
    return [wire.REFUSED, code, about]


@pytest.fixture
def loaded() -> DeviceBench:
    bench = DeviceBench()
    assert bench.load() == [wire.COMMITTED, 0, sheet.digest(sheet_bytes())]
    return bench


def test_a_full_journal_refuses_a_load_and_tells_of_the_gap() -> None:
    bench = DeviceBench(pages=2)
    while bench.device.journal.free() >= 64:
        bench.device.note(wire.EVENT_STRIKE, bytes(8))
    assert bench.load() == refused(wire.NO_JOURNAL_FULL, wire.LOAD)
    while bench.device.journal.free():
        bench.device.note(wire.EVENT_STRIKE, bytes(8))
    for _ in range(3):
        bench.device.note(wire.EVENT_STRIKE, bytes(8))
    acknowledge(bench)
    assert bench.ask(wire.TIDY) == [wire.DONE]
    bench.device.note(wire.EVENT_KNOCK, bytes(8))
    assert [(r[0], r[5][0]) for r in bench.records()[-2:]] == [
        (wire.EVENT_GAP, 3),
        (wire.EVENT_KNOCK, 0),
    ]
    assert bench.load()[0] == wire.COMMITTED


def acknowledge(bench: DeviceBench) -> list[bytes]:
    """Fetch all as a host does."""
    found: list[bytes] = []
    seq = 0
    while True:
        journal_id, last_seq, data = bench.ask(wire.FETCH, bench.device.journal.journal_id, seq)[1:]
        assert journal_id == bench.device.journal.journal_id
        if not data:
            assert seq == last_seq
            return found
        found += [data[i : i + 32] for i in range(0, len(data), 32)]
        seq = int.from_bytes(found[-1][4:8], "little")


def test_fetching_gives_every_record_once() -> None:
    bench = DeviceBench()
    for _ in range(20):
        bench.device.note(wire.EVENT_STRIKE, bytes(8))
    found = acknowledge(bench)
    assert [int.from_bytes(r[4:8], "little") for r in found] == list(range(1, 22))
    assert bench.device.journal.acked_seq == 21
    journal_id = bench.device.journal.journal_id
    assert len(bench.ask(wire.FETCH, journal_id ^ 1, 21)[3]) == 6 * 32  # not ours: from the start


@pytest.mark.parametrize("message_id", [wire.TIDY, wire.SETTINGS, wire.SET_SETTING, wire.REARM])
def test_what_is_kept_from_a_run(loaded: DeviceBench, message_id: int) -> None:
    fields: dict[int, tuple[int, ...]] = {wire.SET_SETTING: (0, 30), wire.REARM: (0,)}
    loaded.start()
    said = loaded.ask(message_id, *fields.get(message_id, ()))
    if message_id == wire.SETTINGS:
        assert said[0] == wire.SETTINGS_ARE
    else:
        assert said == refused(wire.NO_BUSY, message_id)


# Settings, sounds, the ground


@pytest.mark.parametrize(
    ("place", "value", "good"),
    [(0, 8, True), (0, 7, False), (13, 80, True), (len(SETTINGS), 1, False)],
)
def test_a_setting_is_kept_when_it_is_legal(place: int, value: int, good: bool) -> None:
    bench = DeviceBench()
    before = bench.ask(wire.SETTINGS)[1]
    said = bench.ask(wire.SET_SETTING, place, value)
    assert said == ([wire.DONE] if good else refused(wire.NO_VALUE, wire.SET_SETTING))
    bench.reboot()
    after = bench.ask(wire.SETTINGS)[1]
    if not good:
        assert after == before
        return
    assert int.from_bytes(after[4 * place : 4 * place + 4], "little") == value
    assert [i for i in range(14) if after[4 * i] != before[4 * i]] == [place]


@pytest.mark.parametrize("kept", [b"", bytes(56), b"\x18" * 55, bytes(60)])
def test_foreign_settings_are_not_taken_over(kept: bytes) -> None:
    bench = DeviceBench()
    before = bench.ask(wire.SETTINGS)
    bench.board.kept = kept
    bench.reboot()
    assert bench.ask(wire.SETTINGS) == before


@pytest.mark.parametrize(("ahead_ms", "wait_ms"), [(1_500, 1_500), (-5, 0), (400_000, 400_000)])
def test_the_horn_sounds_at_its_instant_once(ahead_ms: int, wait_ms: int) -> None:
    bench = DeviceBench(role=1)
    at_ms = bench.device.clock.ms + ahead_ms
    assert bench.ask(wire.SOUND, 3, 0, at_ms, 0) == [wire.DONE]
    bench.pass_ms(900_000)
    assert bench.board.sounds == [(wait_ms * 1000, 3)]


def test_strikes_are_stamped_and_flagged(loaded: DeviceBench) -> None:
    loaded.start(ahead_ms=3_000)
    loaded.strike()
    loaded.until(loaded.start_us + 20_000_000)
    begun_us = loaded.now_us
    loaded.strike()
    loaded.strike()
    found = [r for r in loaded.records() if r[0] == wire.EVENT_STRIKE]
    assert [r[1] for r in found] == [0, 3, 3]  # idle; running and sending
    assert [r[5][1:3] for r in found] == [b"\x01\x00", b"\x01\x00", b"\x01\x02"]  # a repeat
    at_us = found[1][3] * 1000 + found[1][4] - 300_000_000
    assert abs(at_us - (begun_us + 60_000)) <= 2_500


def test_something_felt_is_hinted_where_hints_are_allowed() -> None:
    bench = DeviceBench()
    bench.board.hints = False
    bench.strike()
    assert bench.board.sent == []
    bench.board.hints = True
    bench.strike()
    assert [bodies(data) for _, data in bench.board.sent] == [[(0, [wire.HAVE_DATA])]]


def test_dug_out_is_told_once() -> None:
    bench = DeviceBench()
    bench.dig_out()
    assert bench.kinds().count(wire.EVENT_DUG_OUT) == 1


def test_frames_of_any_chunking_and_junk_between_are_understood() -> None:
    bench = DeviceBench()
    bench.open()
    data = b"text\r\n\0" + frame.encode(1, bench.request(wire.STATUS)) + b"\x05\0"
    back: list[Any] = []
    for i in range(len(data)):
        back += bench.say_bytes(data[i : i + 1])
    assert [values[0] for values in back] == [wire.REPLY]
    assert bench.say_bytes(frame.encode(0, message.pack(wire.HELLO, 1, 0))) == []  # a host's


def test_another_devices_id_is_not_ours() -> None:
    assert DeviceBench(device_id=ID).hello()[3] == ID
