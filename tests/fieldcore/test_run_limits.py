"""The three limits on sending: the sheet's end, twenty minutes, and the lease."""

import pytest

from fieldcore import frame, message, wire
from support.device_bench import ID, DeviceBench

CAP_MS = wire.RUN_CAP_MS


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
