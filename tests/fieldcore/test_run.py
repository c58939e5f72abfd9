"""One device's run: cues and their else, words, and revisions."""

from typing import Any

import pytest

from fieldcore import wire
from support.device_bench import RUN_ID, DeviceBench

AT, STRIKE, DUG_OUT, ON_WORD = 1, 2, 3, 4
NEVER = -1
CAP_MS = wire.RUN_CAP_MS


def changes(bench: DeviceBench) -> list[tuple[int, int, bool]]:
    """(run time in ms, cue, sends) of every cue carried out."""
    start_ms = next(r[3] for r in bench.records() if r[0] == wire.EVENT_STARTED)
    kinds = {wire.EVENT_SENDS: True, wire.EVENT_RESTS: False}
    return [(r[3] - start_ms, r[5][0], kinds[r[0]]) for r in bench.records() if r[0] in kinds]


def word(bench: DeviceBench, number: int, run_id: bytes = RUN_ID, count: int = 0) -> list[Any]:
    said: list[Any] = bench.ask(wire.WORD, run_id, number, count)
    return said


def test_at_acts_at_its_run_time_and_equal_times_in_order() -> None:
    bench = DeviceBench()
    bench.run(cues=[[AT, 7_000, 0, True], [AT, 2_500, 0, True], [AT, 4_000, 0, False]])
    bench.pass_ms(8_000)
    assert changes(bench) == [(2_500, 1, True), (4_000, 2, False), (7_000, 0, True)]
    assert bench.pulse_times_us() == [3_000_000, 7_000_000, 8_000_000]


def test_a_sheet_without_cues_never_sends() -> None:
    bench = DeviceBench()
    bench.run(cues=[])
    bench.pass_ms(CAP_MS + 1_000)
    assert bench.board.pulses == []
    assert bench.ends() == [wire.END_CAP]


def test_on_my_strike_waits_for_the_first_strike() -> None:
    bench = DeviceBench()
    bench.run(cues=[[AT, 0, 0, True], [STRIKE, 3_000, 0, False]])
    bench.pass_ms(10_000)
    bench.strike()
    bench.strike()
    bench.pass_ms(10_000)
    struck = [r for r in bench.records() if r[0] == wire.EVENT_STRIKE]
    start_ms = bench.records()[1][3]
    assert changes(bench)[1:] == [(struck[0][3] - start_ms + 3_000, 1, False)]
    assert len(struck) == 2


def test_a_strike_before_the_run_triggers_nothing() -> None:
    bench = DeviceBench()
    bench.strike()
    bench.run(cues=[[STRIKE, 0, 0, True]])
    bench.pass_ms(5_000)
    assert changes(bench) == []


def test_on_my_dug_out_ends_a_signal() -> None:
    bench = DeviceBench()
    bench.feel(10)
    bench.run(cues=[[AT, 0, 0, True], [DUG_OUT, 0, 0, False]])
    bench.dig_out()
    pulses = len(bench.board.pulses)
    bench.pass_ms(5_000)
    assert [change[1:] for change in changes(bench)] == [(0, True), (1, False)]
    assert len(bench.board.pulses) == pulses


@pytest.mark.parametrize("at_ms", [0, 3_000, 8_999])
def test_on_word_acts_on_the_word(at_ms: int) -> None:
    bench = DeviceBench()
    bench.run(cues=[[ON_WORD, 9_000, 5, True], [ON_WORD, 9_000, 6, False]])
    bench.pass_ms(at_ms)
    assert word(bench, 5) == [wire.DONE]
    assert word(bench, 5) == [wire.DONE]
    bench.pass_ms(100)
    assert changes(bench)[0] == (at_ms, 0, True)
    assert word(bench, 5) == [wire.DONE]  # a second time changes nothing
    bench.pass_ms(10_000)
    assert [change[1] for change in changes(bench)] == [0, 1]


def test_on_word_else_at_a_time_when_the_word_never_comes() -> None:
    bench = DeviceBench()
    bench.run(cues=[[ON_WORD, 6_000, 5, True]])
    bench.pass_ms(7_000)
    assert changes(bench) == [(6_000, 0, True)]
    assert word(bench, 5) == [wire.DONE]  # too late: it was done at its else
    bench.pass_ms(2_000)
    assert len(changes(bench)) == 1


def test_on_word_else_never_waits_for_ever() -> None:
    bench = DeviceBench()
    bench.run(cues=[[ON_WORD, NEVER, 5, True]])
    bench.pass_ms(CAP_MS - 10_000)
    assert changes(bench) == []
    assert word(bench, 4) == [wire.DONE]
    assert word(bench, 5) == [wire.DONE]
    bench.pass_ms(20)
    assert changes(bench) == [(CAP_MS - 10_000, 0, True)]


def test_a_word_for_another_run_or_after_the_end_is_refused() -> None:
    bench = DeviceBench()
    refused = [wire.REFUSED, wire.NO_RUN, wire.WORD]
    bench.open()
    assert word(bench, 5) == refused
    bench.run(cues=[[ON_WORD, NEVER, 5, True]])
    assert word(bench, 5, b"run-0002") == refused
    assert word(bench, 5, count=1) == [wire.REFUSED, wire.NO_SILENCE_COUNT, wire.WORD]
    bench.ask(wire.END, 0)
    assert word(bench, 5) == refused
    assert changes(bench) == []


# Revisions


def test_a_revision_is_swapped_in_mid_run_and_knows_the_strike() -> None:
    bench = DeviceBench()
    bench.run()
    bench.pass_ms(3_000)
    bench.strike()
    struck_ms = bench.records()[-1][3] - bench.records()[1][3]
    cues = [[AT, 0, 0, True], [STRIKE, 60_000, 0, False]]
    assert bench.load(1, revision=2, cues=cues)[0] == wire.COMMITTED
    assert bench.ask(wire.REVISE, 1, False, 0) == [wire.DONE]
    assert bench.ask(wire.REVISE, 1, False, 0) == [wire.DONE]  # asked again in another opening
    bench.pass_ms(90_000)
    assert changes(bench)[-1] == (struck_ms + 60_000, 1, False)
    assert bench.status()[9:11] == [1, 2]


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"revision": 1}, wire.NO_REVISION),
        ({"revision": 2, "run_id": b"run-0002"}, wire.NO_RUN),
    ],
)
def test_a_revision_that_does_not_follow_is_refused(fields: dict[str, Any], code: int) -> None:
    bench = DeviceBench()
    bench.run()
    bench.load(1, **fields)
    assert bench.ask(wire.REVISE, 1, False, 0) == [wire.REFUSED, code, wire.REVISE]
    bench.pass_ms(3_000)
    assert bench.pulse_times_us() == [0, 1_000_000, 2_000_000, 3_000_000]


def test_the_replaced_sheet_is_spent() -> None:
    bench = DeviceBench()
    bench.run()
    bench.load(1, revision=2)
    bench.ask(wire.REVISE, 1, False, 0)
    assert bench.ask(wire.REVISE, 0, False, 0) == [wire.REFUSED, wire.NO_SLOT, wire.REVISE]
    bench.ask(wire.END, 1)
    for slot in (0, 1):
        assert bench.start(slot) == [wire.REFUSED, wire.NO_SLOT, wire.START]


def test_a_revision_without_a_due_cue_rests() -> None:
    bench = DeviceBench()
    bench.run()
    bench.pass_ms(2_500)
    sent = len(bench.board.pulses)
    assert sent
    assert bench.load(1, revision=2, cues=[])[0] == wire.COMMITTED
    assert bench.ask(wire.REVISE, 1, False, bench.silence_count()) == [wire.DONE]
    bench.pass_ms(5_000)
    assert len(bench.board.pulses) == sent


def test_nothing_is_revised_without_a_run() -> None:
    bench = DeviceBench()
    bench.load(1, revision=2)
    assert bench.ask(wire.REVISE, 1, False, 0) == [wire.REFUSED, wire.NO_RUN, wire.REVISE]
    assert bench.ask(wire.REVISE, 1, False, 1)[1] == wire.NO_SILENCE_COUNT
