"""Silence: needs no key, always wins, latches, and is lifted only by an act of its own."""

from collections.abc import Callable

import pytest

from fieldcore import message, wire
from support.device_bench import RUN_ID, DeviceBench, bodies

WAYS: dict[int, Callable[[DeviceBench], object]] = {
    wire.BY_FRAME: DeviceBench.silence,
    wire.BY_AIR: DeviceBench.silence_by_air,
    wire.BY_KNOCK: DeviceBench.knock,
    wire.BY_BUTTON: lambda bench: bench.device.silence(wire.BY_BUTTON),
}


def refused(code: int, about: int) -> list[int]:
    return [wire.REFUSED, code, about]


def sending() -> DeviceBench:
    bench = DeviceBench()
    bench.feel(5)
    bench.run()
    bench.pass_ms(3_040)
    return bench


@pytest.mark.parametrize("cause", WAYS)
def test_every_way_stops_the_carrier_and_latches(cause: int) -> None:
    bench = sending()
    WAYS[cause](bench)
    pulses = len(bench.board.pulses)
    bench.pass_ms(60_000)
    assert len(bench.board.pulses) == pulses
    (record,) = [r for r in bench.records() if r[0] == wire.EVENT_SILENCED]
    assert record[5][:4] == bytes((1, 0, 1, cause))
    assert bench.ends() == [wire.END_SILENCE]
    assert bench.status()[6:9] == [1, True, 0]


def test_a_pulse_under_way_is_cut() -> None:
    bench = sending()
    bench.silence()
    assert bench.board.pulses[-1][2] - bench.start_us == 3_040_000


@pytest.mark.parametrize("address", [1, 255])
def test_it_is_heard_at_any_address_and_never_answered(address: int) -> None:
    bench = sending()
    assert bench.silence(address=address) == []
    assert bench.device.journal.latched


def test_a_start_that_is_set_is_forgotten_for_good() -> None:
    bench = DeviceBench()
    bench.load()
    bench.start()
    bench.silence()
    bench.pass_ms(10_000)
    assert bench.board.pulses == []
    assert bench.ends() == [wire.END_SILENCE]
    assert bench.ask(wire.REARM, 1) == [wire.DONE]
    assert bench.start() == refused(wire.NO_SLOT, wire.START)


def test_the_devices_near_are_told_once() -> None:
    bench = sending()
    for _ in range(3):
        bench.silence()
    bench.silence_by_air()
    assert [bodies(data) for data in bench.board.advertised] == [[(255, [wire.SILENCE])]]
    bench.ask(wire.REARM, 4)
    bench.silence()
    assert len(bench.board.advertised) == 2


def test_a_knock_silences_and_is_told() -> None:
    bench = sending()
    bench.knock()
    kinds = bench.kinds()
    assert kinds.count(wire.EVENT_KNOCK) == kinds.count(wire.EVENT_SILENCED) == 1
    assert len(bench.board.advertised) == 1


def test_while_latched_nothing_that_enables_is_taken() -> None:
    bench = DeviceBench()
    bench.load()
    bench.silence()
    for message_id, fields in (
        (wire.START, (0, 0, bench.device.clock.ms + 3000, 0, 0, 1)),
        (wire.COMMIT, (0, bytes(8), 1)),
        (wire.WORD, (RUN_ID, 1, 1)),
        (wire.REVISE, (0, True, 1)),
    ):
        assert bench.ask(message_id, *fields) == refused(wire.NO_LATCHED, message_id)
    bench.pass_ms(5_000)
    assert bench.board.pulses == []


@pytest.mark.parametrize(("count", "good"), [(0, False), (1, False), (2, True), (3, False)])
def test_only_the_right_count_rearms(count: int, good: bool) -> None:
    bench = DeviceBench()
    bench.silence()
    bench.silence()  # somebody else, in the meantime
    said = bench.ask(wire.REARM, count)
    assert said == ([wire.DONE] if good else refused(wire.NO_SILENCE_COUNT, wire.REARM))
    assert bench.device.journal.latched is not good
    assert bench.kinds().count(wire.EVENT_REARMED) == good


def test_after_a_rearm_a_stale_count_still_enables_nothing() -> None:
    bench = DeviceBench()
    bench.load()
    bench.silence()
    bench.ask(wire.REARM, 1)
    assert bench.start(count=0) == refused(wire.NO_SILENCE_COUNT, wire.START)
    assert bench.start(count=1) == [wire.DONE]
    bench.until(bench.start_us + 500_000)
    assert len(bench.board.pulses) == 1


def test_a_rearm_alone_sends_nothing() -> None:
    bench = sending()
    bench.silence()
    pulses = len(bench.board.pulses)
    bench.ask(wire.REARM, 1)
    bench.pass_ms(30_000)
    assert len(bench.board.pulses) == pulses


def test_rearming_what_is_not_latched_writes_nothing() -> None:
    bench = DeviceBench()
    assert bench.ask(wire.REARM, 0) == [wire.DONE]
    assert bench.kinds() == [wire.EVENT_BOOT]


def test_the_latch_survives_a_reboot_and_so_does_the_rearming() -> None:
    bench = sending()
    bench.silence()
    bench.reboot()
    assert bench.status()[6:8] == [1, True]
    assert bench.load(1) == refused(wire.NO_LATCHED, wire.COMMIT)
    bench.ask(wire.REARM, 1)
    bench.reboot()
    assert bench.status()[6:8] == [1, False]
    assert bench.load(1)[0] == wire.COMMITTED


def test_a_sealed_silence_is_no_command() -> None:
    """It is heard plain, by everybody; inside a request it would be another thing."""
    bench = DeviceBench()
    assert bench.ask(wire.SILENCE) == refused(wire.NO_UNKNOWN, wire.SILENCE)


def test_a_flood_of_silences_does_not_fill_the_journal() -> None:
    bench = DeviceBench(pages=2)
    free = bench.device.journal.free()
    for _ in range(500):
        bench.silence()
    assert free - bench.device.journal.free() == 1
    assert bench.silence_count() == 500


def test_a_full_journal_does_not_stop_a_silence() -> None:
    bench = DeviceBench(pages=2)
    bench.load()
    bench.start()
    while bench.device.journal.free():
        bench.device.note(wire.EVENT_STRIKE, bytes(8))
    bench.until(bench.start_us + 1_040_000)
    bench.say(message.pack(wire.SILENCE))
    assert bench.board.pulses[-1][2] - bench.start_us == 1_040_000
    bench.reboot()
    assert bench.device.journal.latched
