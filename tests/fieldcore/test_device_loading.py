"""Loading sheets and setting starts: what is refused, and what happens only once."""

import pytest

from fieldcore import sheet, wire
from support.device_bench import DeviceBench, sheet_bytes

WRAP = 1 << 30
DAY_MS = 86_400_000


def refused(code: int, about: int) -> list[int]:
    return [wire.REFUSED, code, about]


@pytest.fixture
def loaded() -> DeviceBench:
    bench = DeviceBench()
    assert bench.load() == [wire.COMMITTED, 0, sheet.digest(sheet_bytes())]
    return bench


@pytest.mark.parametrize(
    ("parts", "code"),
    [
        ([(0, 96)], wire.NO_DIGEST),
        ([(0, 0)], wire.NO_DIGEST),
        ([(0, 96), (96, 191)], wire.NO_DIGEST),
        ([(0, 96), (96, 192), (0, 96)], wire.NO_DIGEST),
        ([(0, 96), (96, 192)], 0),
        ([(0, 96), (48, 96), (96, 192)], 0),  # a part again, in another opening
    ],
)
def test_only_a_whole_sheet_is_committed(parts: list[tuple[int, int]], code: int) -> None:
    bench = DeviceBench()
    data = sheet_bytes()
    for begin, end in parts:
        assert bench.ask(wire.LOAD, 0, begin, data[begin:end]) == [wire.DONE]
    said = bench.ask(wire.COMMIT, 0, sheet.digest(data), 0)
    assert said == (refused(code, wire.COMMIT) if code else [wire.COMMITTED, 0, sheet.digest(data)])
    assert (bench.start() == [wire.DONE]) is (code == 0)


@pytest.mark.parametrize(
    ("offset", "size", "code"),
    [(1, 10, wire.NO_VALUE), (0, 193, wire.NO_VALUE), (96, 8, wire.NO_VALUE)],
)
def test_a_part_out_of_place_is_refused(offset: int, size: int, code: int) -> None:
    bench = DeviceBench()
    assert bench.ask(wire.LOAD, 0, offset, bytes(size)) == refused(code, wire.LOAD)


def test_the_ninth_slot_does_not_exist() -> None:
    bench = DeviceBench()
    for message_id, fields in (
        (wire.LOAD, (8, 0, b"")),
        (wire.COMMIT, (8, bytes(8), 0)),
        (wire.CLEAR, (8,)),
    ):
        assert bench.ask(message_id, *fields) == refused(wire.NO_SLOT, message_id)
    assert bench.start(8) == refused(wire.NO_SLOT, wire.START)
    assert bench.start(255) == refused(wire.NO_SLOT, wire.START)
    assert bench.ask(wire.START, 255, 0, 0, 0, 0, 0) == refused(wire.NO_SLOT, wire.START)


def test_the_wrong_digest_is_refused_and_nothing_starts() -> None:
    bench = DeviceBench()
    data = sheet_bytes()
    bench.ask(wire.LOAD, 0, 0, data)
    said = bench.ask(wire.COMMIT, 0, sheet.digest(data[1:]), 0)
    assert said == refused(wire.NO_DIGEST, wire.COMMIT)
    assert bench.start() == refused(wire.NO_SLOT, wire.START)


def test_a_contradictory_sheet_is_not_committed() -> None:
    bench = DeviceBench()
    said = bench.load(cues=[[wire.CUE_AT, 5, 0, True], [wire.CUE_AT, 5, 0, False]])
    assert said == refused(wire.NO_CONTRADICTORY, wire.COMMIT)


def test_eight_sheets_are_held_and_one_more_load_changes_only_its_slot() -> None:
    bench = DeviceBench()
    for slot in range(8):
        assert bench.load(slot, phase_us=slot)[0] == wire.COMMITTED
    bench.ask(wire.LOAD, 3, 0, b"")
    assert bench.start(3) == refused(wire.NO_SLOT, wire.START)
    assert bench.start(7) == [wire.DONE]
    bench.until(bench.start_us + 500_000)
    assert bench.pulse_times_us() == [7]


def test_a_cleared_sheet_is_gone(loaded: DeviceBench) -> None:
    assert loaded.ask(wire.CLEAR, 0) == [wire.DONE]
    assert loaded.start() == refused(wire.NO_SLOT, wire.START)


def test_the_sheet_in_use_is_neither_loaded_over_nor_cleared(loaded: DeviceBench) -> None:
    loaded.start()
    for message_id, fields in ((wire.LOAD, (0, 0, b"")), (wire.CLEAR, (0,))):
        assert loaded.ask(message_id, *fields) == refused(wire.NO_BUSY, message_id)
    loaded.until(loaded.start_us + 1_000_000)
    assert loaded.load() == refused(wire.NO_BUSY, wire.LOAD)
    assert loaded.load(1)[0] == wire.COMMITTED


# Start


@pytest.mark.parametrize(
    ("ahead_ms", "code"),
    [
        (0, wire.NO_PAST),
        (-1, wire.NO_PAST),
        (-DAY_MS, wire.NO_PAST),
        (1, 0),
        (DAY_MS, 0),
        (DAY_MS + 1, wire.NO_PAST),
    ],
)
def test_a_start_lies_ahead_but_not_far(loaded: DeviceBench, ahead_ms: int, code: int) -> None:
    said = loaded.start(ahead_ms=ahead_ms)
    assert said == (refused(code, wire.START) if code else [wire.DONE])


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"us": 1000}, wire.NO_PAST),
        ({"elapsed_ms": 1_200_000}, wire.NO_TOO_LONG),
        ({"count": 1}, wire.NO_SILENCE_COUNT),
        ({"slot": 1}, wire.NO_SLOT),
    ],
)
def test_a_start_is_refused_with_its_reason(
    loaded: DeviceBench, change: dict[str, int], code: int
) -> None:
    assert loaded.start(**change) == refused(code, wire.START)
    loaded.pass_ms(10_000)
    assert loaded.board.pulses == []


@pytest.mark.parametrize(("volts_mv", "good"), [(2000, True), (1999, False)])
def test_a_low_battery_does_not_start(loaded: DeviceBench, volts_mv: int, good: bool) -> None:
    loaded.board.volts_mv = volts_mv
    assert loaded.start() == ([wire.DONE] if good else refused(wire.NO_BATTERY, wire.START))


def test_a_post_never_sends() -> None:
    bench = DeviceBench(role=1)
    bench.load()
    assert bench.start() == refused(wire.NO_OTHER_DEVICE, wire.START)


def test_the_same_start_again_is_done_and_another_is_refused(loaded: DeviceBench) -> None:
    assert loaded.start() == [wire.DONE]
    fields = (0, 0, loaded.device.clock.ms + 3000, 0, 0, 0)
    loaded.pass_ms(100)
    assert loaded.ask(wire.START, *fields) == [wire.DONE]
    assert loaded.start(ahead_ms=5000) == refused(wire.NO_BUSY, wire.START)
    loaded.pass_ms(4_000)
    assert loaded.ask(wire.START, *fields) == [wire.DONE]  # the answer was lost, it runs already
    assert loaded.kinds().count(wire.EVENT_STARTED) == 1
    loaded.ask(wire.END, 0)
    assert loaded.ask(wire.START, *fields)[0] == wire.REFUSED


def test_a_timetable_started_a_day_ahead_across_every_wrap() -> None:
    bench = DeviceBench(first_us=WRAP - 1, ms=WRAP - DAY_MS // 2)
    bench.load()
    assert bench.start(ahead_ms=DAY_MS, us=5) == [wire.DONE]
    bench.until(bench.start_us + 1_500_000)
    assert bench.pulse_times_us() == [0, 1_000_000]


def test_a_start_in_another_lap_of_the_clock_is_refused(loaded: DeviceBench) -> None:
    at_ms = loaded.device.clock.ms + 3000
    count = loaded.silence_count()
    lap = loaded.device.clock.lap + 1
    assert loaded.ask(wire.START, 0, lap, at_ms, 0, 0, count) == refused(wire.NO_PAST, wire.START)


def test_cancel_forgets_the_start_and_keeps_the_sheet(loaded: DeviceBench) -> None:
    loaded.start()
    assert loaded.ask(wire.CANCEL, 1) == [wire.DONE]  # another slot: nothing to cancel
    assert loaded.status()[8] == 1
    assert loaded.ask(wire.CANCEL, 0) == [wire.DONE]
    loaded.pass_ms(5_000)
    assert loaded.board.pulses == []
    assert loaded.ends() == [wire.END_CANCELLED]
    assert loaded.start() == [wire.DONE]


def test_a_cancel_that_comes_too_late_ends_the_run_for_good(loaded: DeviceBench) -> None:
    loaded.start()
    loaded.until(loaded.start_us + 40_000)
    loaded.ask(wire.CANCEL, 0)
    assert loaded.board.pulses[-1][2] - loaded.start_us == 40_000
    assert loaded.start() == refused(wire.NO_SLOT, wire.START)


def test_end_stops_at_once_and_the_sheet_is_spent(loaded: DeviceBench) -> None:
    loaded.start()
    loaded.until(loaded.start_us + 3_040_000)
    assert loaded.ask(wire.END, 0) == [wire.DONE]
    assert loaded.ask(wire.END, 0) == [wire.DONE]
    loaded.pass_ms(5_000)
    assert loaded.board.pulses[-1][2] - loaded.start_us == 3_040_000
    assert loaded.ends() == [wire.END_TOLD]
    assert loaded.start() == refused(wire.NO_SLOT, wire.START)
    said = loaded.ask(wire.COMMIT, 0, sheet.digest(sheet_bytes()), 0)
    assert said[0] == wire.COMMITTED
    assert loaded.start() == refused(wire.NO_SLOT, wire.START)


def test_after_a_reset_a_device_is_silent_and_knows_no_sheet(loaded: DeviceBench) -> None:
    loaded.start()
    loaded.until(loaded.start_us + 1_040_000)
    loaded.reboot()
    loaded.pass_ms(10_000)
    assert loaded.board.pulses[-1][2] - loaded.start_us == 1_040_000
    assert loaded.start() == refused(wire.NO_SLOT, wire.START)
