"""The device's link and its radio's windows, on a bench where time jumps."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blindfield.model.settings import SETTINGS
from fieldcore import frame, message, wire
from fielddevice.links.ring import Ring
from support.ble_bench import CONNECT, DISCONNECT, PEER, RadioBench
from support.device_bench import bodies

SILENCE = frame.encode(255, message.pack(wire.SILENCE))
HELLO = frame.encode(1, message.pack(wire.HELLO, 1, 0))
REST_MS = next(s.default for s in SETTINGS if s.name == "radio_rest_ms")
EVERY_MS = next(s.default for s in SETTINGS if s.name == "listen_every_ms")
MINUTE_MS = 60_000


def said_of(bench: RadioBench) -> list[list[object]]:
    """Values of the frames notified so far."""
    outbox = 11
    data = b"".join(said[1:] for handle, said in bench.radio.notified if handle == outbox)
    return [values for _, values in bodies(data)]


# The radio's windows


def test_a_parked_device_rests_between_short_windows_and_is_awake_after_power_on() -> None:
    bench = RadioBench()
    bench.pass_ms(2 * MINUTE_MS)
    stretches = bench.advertised(bench.now_us // 1000)
    assert stretches[0] == (30_000, bench.here)  # then the first rest
    assert {ms for ms, data in stretches[1:-1] if data is None} == {REST_MS}
    assert {ms for ms, data in stretches[1:-1] if data} == {500}
    assert bench.radio.scans == []


def test_without_rests_it_can_always_be_found() -> None:
    bench = RadioBench()
    bench.open()
    place = next(n for n, s in enumerate(SETTINGS) if s.name == "radio_rest_ms")
    assert bench.ask(wire.SET_SETTING, place, 0) == [wire.DONE]
    bench.pass_ms(5 * MINUTE_MS)
    assert len(bench.advertised(bench.now_us // 1000)) == 1


def test_a_device_in_a_run_is_always_there_and_listens_every_second() -> None:
    bench = RadioBench()
    bench.pass_ms(2 * MINUTE_MS)
    bench.open()
    bench.run(end_ms=60_000, lease_ms=60_000)
    begun_ms = bench.now_us // 1000
    changes = len(bench.radio.said)
    bench.pass_ms(50_000)
    assert len(bench.radio.said) == changes
    scans = [ms for ms in bench.radio.scans if ms >= begun_ms]
    assert len(scans) == pytest.approx(50_000 / EVERY_MS, abs=2)
    bench.pass_ms(20_000)
    over = len(bench.radio.scans)
    bench.pass_ms(MINUTE_MS)
    assert len(bench.radio.scans) == over


def test_a_silence_is_repeated_for_some_seconds_and_the_device_can_still_be_called() -> None:
    bench = RadioBench()
    bench.open()
    bench.run(end_ms=60_000, lease_ms=60_000)
    bench.pass_ms(5_000)
    begun = len(bench.radio.said)
    here = bench.here
    bench.hear(b"\x1a\x21" + here[5:] + SILENCE)
    assert bench.device.journal.latched
    bench.pass_ms(10_000)
    said = bench.radio.said[begun:]
    shouts = [entry for entry in said if entry[1] and entry[1].endswith(SILENCE)]
    assert 15 <= len(shouts) <= 25
    assert not any(entry[3] for entry in shouts)  # nobody can connect to these
    assert sum(entry[1] == here for entry in said) >= 15
    assert said[-1][1] == here
    assert bench.pulse_times_us()[-1] < bench.now_us - 9_000_000


def test_a_second_silence_is_not_repeated() -> None:
    bench = RadioBench()
    here = bench.here
    shouts = []
    for _ in range(2):
        bench.hear(b"\x1a\x21" + here[5:] + SILENCE)
        bench.pass_ms(8_000)
        shouts.append(sum(entry[1] is not None and not entry[3] for entry in bench.radio.said))
    assert shouts[0] == shouts[1] > 0


def test_a_silence_by_hand_or_host_is_told_each_time() -> None:
    bench = RadioBench()
    for act in (bench.silence, bench.knock, bench.silence):
        bench.pass_ms(8_000)
        begun = len(bench.radio.said)
        act()
        bench.pass_ms(2_000)
        shouts = [entry[1] for entry in bench.radio.said[begun:] if not entry[3]]
        assert shouts
        assert {data[18:] for data in shouts} == {SILENCE}


@given(st.binary(max_size=31).filter(lambda data: data[:9] != SILENCE))
def test_anything_else_on_the_air_is_passed_over(data: bytes) -> None:
    bench = RadioBench()
    bench.hear(data)
    bench.hear(b"\x1a\x21" + bench.here[5:] + data[:9])
    assert not bench.device.journal.latched


def test_a_stack_that_cannot_now_is_asked_again() -> None:
    bench = RadioBench()
    bench.open()
    bench.radio.fails = True
    bench.connect()
    bench.disconnect()
    assert bench.wait_us <= 50_000
    bench.radio.fails = False
    count = len(bench.radio.said)
    bench.pass_ms(500)
    assert [entry[1] is not None for entry in bench.radio.said[count:]] == [False, True]


# A connection


def test_frames_come_and_go_in_pieces_of_the_mtu() -> None:
    bench = RadioBench()
    bench.connect()
    for start in range(0, len(HELLO), 3):
        bench.write(HELLO[start : start + 3])
    bench.advance()
    assert [values[0] for values in said_of(bench)] == [wire.HELLO_IS]
    pieces = [data for handle, data in bench.radio.notified if handle == 11]
    assert max(len(piece) for piece in pieces) == 20
    assert [piece[0] for piece in pieces] == list(range(len(pieces)))
    bench.radio.tell(21, (0, 247))
    bench.write(HELLO)
    bench.advance()
    assert len(bench.radio.notified[-1][1]) > 40


def test_a_notification_that_finds_no_room_goes_later() -> None:
    bench = RadioBench()
    bench.connect()
    bench.radio.full = 3
    bench.write(HELLO)
    bench.advance()
    assert said_of(bench) == []
    bench.pass_ms(50)
    assert [values[0] for values in said_of(bench)] == [wire.HELLO_IS]


def test_what_is_written_past_the_room_is_lost_alone() -> None:
    bench = RadioBench()
    bench.connect()
    for _ in range(40):
        bench.write(b"\x01" * 100)  # nobody reads meanwhile
    assert bench.link.spilled == 30
    bench.advance()
    bench.write(b"\0" + HELLO)
    bench.advance()
    assert [values[0] for values in said_of(bench)] == [wire.HELLO_IS]


def test_credit_follows_what_was_taken() -> None:
    bench = RadioBench()
    bench.connect()
    for _ in range(10):
        bench.write(b"\x01" * 100)
        bench.advance()
    told = [
        int.from_bytes(data[:2], "little") for handle, data in bench.radio.notified if handle == 12
    ]
    assert told == sorted(told)
    assert 1000 - 256 <= told[-1] <= 1000


def test_who_says_nothing_sealed_is_dropped_after_ten_seconds_and_then_refused() -> None:
    bench = RadioBench()
    bench.connect()
    bench.write(HELLO)
    bench.pass_ms(9_900)
    assert bench.radio.dropped == 0
    bench.pass_ms(200)
    assert bench.radio.dropped == 1
    bench.connect()
    assert bench.radio.dropped == 2  # at once
    bench.connect(peer=b"another")
    bench.pass_ms(1000)
    assert bench.radio.dropped == 2
    bench.disconnect()
    bench.pass_ms(5_000)
    bench.connect()
    bench.pass_ms(9_000)
    assert bench.radio.dropped == 2  # it has another chance
    bench.pass_ms(2_000)
    bench.pass_ms(6_000)
    bench.connect()
    assert bench.radio.dropped == 4  # refused for longer now


def test_who_proves_itself_after_a_refusal_is_as_good_as_any() -> None:
    bench = RadioBench()
    bench.connect()
    bench.pass_ms(16_000)  # dropped, and no longer refused
    bench.connect()
    bench.open()
    bench.advance()
    bench.disconnect()
    bench.connect()
    bench.pass_ms(10_100)
    assert bench.radio.dropped == 2
    bench.pass_ms(6_000)  # refused for 5 s once more, not for 10
    bench.connect()
    assert bench.radio.dropped == 2


def test_who_opens_is_kept_as_long_as_it_speaks_and_a_recording_does_not_count() -> None:
    bench = RadioBench()
    bench.connect()
    bench.open()
    for _ in range(5):
        bench.pass_ms(8_000)
        bench.ask(wire.STATUS)
        bench.advance()
    assert bench.radio.dropped == 0
    body = message.pack(wire.STATUS)
    request = bench.sealed(bench.counter, body)  # the last one once more
    for _ in range(3):
        bench.pass_ms(4_000)
        bench.write(frame.encode(1, request))
        bench.advance()
    assert bench.radio.dropped == 1
    bench.connect(PEER)
    bench.pass_ms(1_000)
    assert bench.radio.dropped == 1  # it proved itself before: not refused


def test_a_second_central_begins_anew() -> None:
    bench = RadioBench()
    bench.connect()
    bench.write(HELLO)
    bench.advance()
    bench.write(HELLO[:6])  # and nobody has read this yet
    bench.radio.tell(DISCONNECT, (0, 1, PEER))
    first = len(bench.radio.notified)
    bench.radio.tell(CONNECT, (0, 1, PEER))
    bench.write(HELLO)
    bench.advance()
    del bench.radio.notified[:first]
    assert [values[0] for values in said_of(bench)] == [wire.HELLO_IS]
    assert bench.radio.notified[0][1][0] == 0


def test_nobody_else_can_come_while_a_central_is_there() -> None:
    bench = RadioBench()
    bench.connect()
    begun = len(bench.radio.said)
    bench.silence()
    bench.pass_ms(9_000)
    said = bench.radio.said[begun:]
    assert any(entry[1] and entry[1].endswith(SILENCE) for entry in said)
    assert not any(entry[1] and entry[3] for entry in said)


# Its ring


@given(st.lists(st.tuples(st.binary(max_size=40), st.integers(0, 50)), max_size=60))
def test_a_ring_gives_what_was_put_in_order(steps: list[tuple[bytes, int]]) -> None:
    ring, held = Ring(64), b""
    ring.put_count = ring.taken_count = 2**30 - 32  # just before its counts wrap
    for data, most in steps:
        fits = len(held) + len(data) <= 64
        assert ring.put(data) == fits
        held += data if fits else b""
        taken = ring.peek(most)
        assert taken == held[:most]
        ring.skip(len(taken))
        held = held[len(taken) :]
        assert len(ring) == len(held)
