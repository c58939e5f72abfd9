"""One device's run: cues and their else, revisions, and the three limits on sending."""

from typing import Any

import pytest

from fieldcore import frame, message, wire
from support.device_bench import ID, RUN_ID, DeviceBench

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


def test_nothing_is_revised_without_a_run() -> None:
    bench = DeviceBench()
    bench.load(1, revision=2)
    assert bench.ask(wire.REVISE, 1, False, 0) == [wire.REFUSED, wire.NO_RUN, wire.REVISE]
    assert bench.ask(wire.REVISE, 1, False, 1)[1] == wire.NO_SILENCE_COUNT


# The limits


def last_pulse_ms(bench: DeviceBench) -> int:
    """Run time at which the last pulse ended."""
    last: int = bench.board.pulses[-1][2] - bench.start_us
    return last // 1000


def test_the_sheets_own_end() -> None:
    bench = DeviceBench()
    bench.run(end_ms=10_050)
    bench.pass_ms(60_000)
    assert bench.ends() == [wire.END_SHEET]
    assert last_pulse_ms(bench) == 9_082  # the pulse at 10 000 would be cut: it is not begun
    assert bench.status()[8] == 0


def test_a_run_that_began_earlier_ends_no_later() -> None:
    """After a reboot the host starts it anew with the run time that has passed."""
    bench = DeviceBench()
    bench.load(end_ms=60_000)
    assert bench.start(elapsed_ms=55_000) == [wire.DONE]
    bench.until(bench.start_us + 30_000_000)
    assert bench.ends() == [wire.END_SHEET]
    assert len(bench.board.pulses) == 5


def test_twenty_minutes_is_the_cap() -> None:
    bench = DeviceBench()
    bench.run()
    bench.pass_ms(CAP_MS + 60_000)
    assert bench.ends() == [wire.END_CAP]
    assert last_pulse_ms(bench) == CAP_MS - 1_000 + 82


@pytest.mark.parametrize(("renew", "sends_ms"), [(False, CAP_MS), (True, 2 * CAP_MS - 60_000)])
def test_only_a_renewal_begins_the_twenty_minutes_anew(renew: bool, sends_ms: int) -> None:
    bench = DeviceBench()
    bench.run()
    bench.pass_ms(CAP_MS - 60_000)
    bench.load(1, revision=2)
    assert bench.ask(wire.REVISE, 1, renew, 0) == [wire.DONE]
    bench.pass_ms(600_000)
    bench.status()  # the lease is another matter
    bench.pass_ms(CAP_MS)
    assert bench.ends() == [wire.END_CAP]
    assert last_pulse_ms(bench) == sends_ms - 1_000 + 82


def test_a_revision_after_a_renewal_keeps_to_it() -> None:
    bench = DeviceBench()
    bench.run()
    bench.pass_ms(600_000)
    for slot, renew in ((1, True), (2, False)):
        bench.load(slot, revision=slot + 1, end_ms=700_000)
        assert bench.ask(wire.REVISE, slot, renew, 0) == [wire.DONE]
        bench.pass_ms(100_000)
    bench.pass_ms(CAP_MS)
    assert bench.ends() == [wire.END_SHEET]
    assert last_pulse_ms(bench) == 1_300_000 - 1_000 + 82


@pytest.mark.parametrize("lease_ms", [5_000, 20_000])
def test_the_lease_runs_out(lease_ms: int) -> None:
    bench = DeviceBench()
    bench.run(lease_ms=lease_ms)
    bench.pass_ms(2 * lease_ms)
    assert bench.ends() == [wire.END_LEASE]
    assert last_pulse_ms(bench) == lease_ms - 1_000 + 82
    assert bench.records()[-1][3] - bench.records()[1][3] == lease_ms


def test_the_lease_begins_with_the_start_not_with_what_was_heard_before() -> None:
    bench = DeviceBench()
    bench.load(lease_ms=5_000)
    bench.start(ahead_ms=60_000)
    bench.until(bench.start_us + 4_500_000)
    assert len(bench.board.pulses) == 5


def test_any_sealed_request_renews_the_lease() -> None:
    bench = DeviceBench()
    bench.run(lease_ms=5_000)
    for _ in range(10):
        bench.pass_ms(4_000)
        assert bench.status()[12] == 5_000
    bench.pass_ms(6_000)
    assert last_pulse_ms(bench) // 1000 == 44


@pytest.mark.parametrize(
    "what", ["junk", "hello", "forged", "replay", "retry", "open", "foreign", "hint"]
)
def test_nothing_else_renews_it(what: str) -> None:
    bench = DeviceBench()
    bench.run(lease_ms=5_000)
    old = bench.request(wire.STATUS)
    bench.say(old)
    retry = bench.request(wire.CLOCK)
    bench.say(retry)
    forged = message.pack(wire.REQUEST, 1 << 20, message.pack(wire.STATUS), b"12345678")
    frames = {
        "junk": bytes(range(1, 200)) + b"\0",
        "hello": frame.encode(1, message.pack(wire.HELLO, 1, 0)),
        "forged": frame.encode(1, forged),
        "replay": frame.encode(1, old),
        "retry": frame.encode(1, retry),
        "open": frame.encode(1, message.pack(wire.OPEN, bytes(12), bytes(8))),
        "foreign": frame.encode(1, b"\x81\x18\x4d"),
        "hint": frame.encode(1, message.pack(wire.HAVE_DATA)),
    }
    for _ in range(12):
        bench.pass_ms(500)
        bench.say_bytes(frames[what])
    assert bench.ends() == [wire.END_LEASE]
    assert last_pulse_ms(bench) == 4_082


def test_a_frame_after_a_hang_does_not_renew_what_ran_out() -> None:
    """The bytes waited in the port: the core hears them before anybody called `advance`."""
    bench = DeviceBench()
    bench.run(lease_ms=5_000)
    bench.now_us += 6_000_000
    bench.board.now_us = bench.now_us
    assert bench.status()[8] == 2  # answered, but the run ends with the next advance
    assert bench.ends() == [wire.END_LEASE]
    assert len(bench.board.pulses) == 1


def test_live_left_covers_a_start_that_is_set() -> None:
    """The host names the last instant at which a lost device can still send."""
    bench = DeviceBench()
    bench.load(lease_ms=30_000)
    assert bench.status()[11:13] == [False, 0]
    bench.start(ahead_ms=3_000)
    assert bench.status()[11:13] == [True, 33_000]
    bench.until(bench.start_us + 10_000_000)
    assert bench.status()[11:13] == [True, 30_000]


def test_a_device_is_known_by_its_id_in_the_sheet() -> None:
    bench = DeviceBench(device_id=b"target-2")
    refused = [wire.REFUSED, wire.NO_OTHER_DEVICE, wire.COMMIT]
    assert bench.load(device_id=ID) == refused
    assert bench.start()[1] == wire.NO_SLOT
