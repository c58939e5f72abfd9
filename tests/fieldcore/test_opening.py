"""The sealed link of one device: who may open it, and what becomes of each kind of message."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldcore import frame, message, opening, wire
from fieldcore.opening import Opening
from fieldcore.seal import Key
from support.device_bench import DeviceBench

REFUSED = wire.REFUSED


@pytest.fixture
def bench() -> DeviceBench:
    bench = DeviceBench()
    assert bench.open()[0] == wire.OPENED
    return bench


def refused(code: int, about: int = wire.REQUEST) -> list[list[int]]:
    return [[REFUSED, code, about]]


def test_hello_tells_who_it_is() -> None:
    values = DeviceBench(device_id=b"target-9", role=1).hello()
    assert values[:7] == [wire.HELLO_IS, wire.MAJOR, wire.MINOR, b"target-9", 1, "bench", "1"]


def test_hello_carries_the_clock_id_and_never_the_same_nonce() -> None:
    bench = DeviceBench()
    nonces = [bench.hello()[8] for _ in range(3)]
    assert {nonce[:4] for nonce in nonces} == {(1).to_bytes(4, "little")}
    bench.reboot()
    nonces.append(bench.hello()[8])
    assert nonces[3][:4] == (2).to_bytes(4, "little")
    assert len(set(nonces)) == 4


def test_the_settings_digest_changes_with_a_setting(bench: DeviceBench) -> None:
    before = bench.hello()[7]
    bench.ask(wire.SET_SETTING, 0, 30)
    assert bench.hello()[7] != before


def test_another_major_is_told_ours_and_cannot_open() -> None:
    bench = DeviceBench()
    nonce = bench.hello(wire.MAJOR + 1)[8]
    data = b"open" + bytes((wire.MAJOR + 1,)) + nonce + bytes(12) + bench.board.device_id
    said = bench.say(message.pack(wire.OPEN, bytes(12), bench.key.tag(data)))
    assert said == refused(wire.NO_BAD_TAG, wire.OPEN)


def test_the_wrong_field_key_opens_nothing_and_replaces_nothing(bench: DeviceBench) -> None:
    assert bench.open(Key(bytes(32))) == [REFUSED, wire.NO_BAD_TAG, wire.OPEN]
    assert bench.status()[0] == wire.STATUS_IS


def test_an_open_without_a_hello_is_refused() -> None:
    bench = DeviceBench()
    said = bench.say(message.pack(wire.OPEN, bytes(12), bytes(8)))
    assert said == refused(wire.NO_NO_OPENING, wire.OPEN)


def test_a_hello_leaves_the_opening_standing(bench: DeviceBench) -> None:
    bench.hello()
    assert bench.status()[0] == wire.STATUS_IS


def test_an_open_doubled_on_the_way_is_answered_alike_until_a_request(bench: DeviceBench) -> None:
    nonce = bench.hello()[8]
    tag = opening.open_tag(bench.key, nonce, bytes(12), bench.board.device_id)
    body = message.pack(wire.OPEN, bytes(12), tag)
    first = bench.say(body)
    assert bench.say(body) == first != []
    bench._link = opening.link_key(bench.key, nonce, bytes(12), bench.board.device_id)
    bench.counter = 0
    assert bench.status()[0] == wire.STATUS_IS
    assert bench.say(body) == refused(wire.NO_NO_OPENING, wire.OPEN)


def test_a_device_without_a_key_opens_for_nobody() -> None:
    bench = DeviceBench(key=None)
    assert bench.open() == [REFUSED, wire.NO_NO_KEY, wire.OPEN]
    assert bench.say(message.pack(wire.REQUEST, 1, b"\x81\x10", bytes(8))) == refused(
        wire.NO_NO_OPENING
    )
    bench.silence()
    assert bench.device.journal.latched


def test_a_reboot_ends_the_opening(bench: DeviceBench) -> None:
    old = bench.request(wire.STATUS)
    bench.reboot()
    assert bench.say(old) == refused(wire.NO_NO_OPENING)
    bench.open()
    assert bench.say(old) == refused(wire.NO_BAD_TAG)


def test_a_replay_of_an_older_opening_is_refused(bench: DeviceBench) -> None:
    old = bench.request(wire.STATUS)
    bench.open()
    assert bench.say(old) == refused(wire.NO_BAD_TAG)


def test_a_retry_gets_the_same_bytes_and_is_not_carried_out_twice(bench: DeviceBench) -> None:
    bench.load()
    body = frame.encode(1, bench.request(wire.CLOCK))
    first = bench.say_bytes(body)
    bench.pass_ms(5)
    assert bench.say_bytes(body) == first  # the old stamp, not a new one
    bench.ask(wire.CLOCK)
    assert bench.say_bytes(body) == refused(wire.NO_STALE)


def test_a_retried_load_adds_nothing(bench: DeviceBench) -> None:
    load = bench.request(wire.LOAD, 0, 0, bytes(90))
    assert bench.say(load) == bench.say(load)
    assert bench.device.slots._filled[0] == 90


def test_reordered_requests_are_stale(bench: DeviceBench) -> None:
    first = bench.request(wire.STATUS)
    second = bench.request(wire.CLOCK)
    assert bench.say(second)[0][0] == wire.REPLY
    assert bench.say(first) == refused(wire.NO_STALE)


def test_a_counter_used_again_for_another_body_is_stale(bench: DeviceBench) -> None:
    bench.status()
    again = bench.sealed(bench.counter, message.pack(wire.CLOCK))
    assert bench.say(again) == refused(wire.NO_STALE)


@given(st.integers(0, 3), st.integers(0, 7), st.integers(1, 255))
def test_whatever_is_changed_breaks_the_seal(part: int, place: int, flip: int) -> None:
    bench = DeviceBench()
    bench.open()
    bench.counter = 7
    values = message.unpack(bench.request(wire.LOAD, 0, 0, b"12345678"))
    if part == 0:
        values[1] = (values[1] ^ flip) or 300
    else:
        changed = bytearray(values[3 if part == 3 else 2])
        changed[place % len(changed)] ^= flip
        values[3 if part == 3 else 2] = bytes(changed)
    assert bench.say(message.pack(*values)) == refused(wire.NO_BAD_TAG)
    assert bench.device.refusals == 1


def test_a_reply_of_the_device_is_no_request(bench: DeviceBench) -> None:
    """The direction is in the tag."""
    bench.counter += 1
    body = message.pack(wire.STATUS)
    tag = opening.seal_tag(bench._link, opening.TO_HOST, bench.board.device_id, bench.counter, body)
    said = bench.say(message.pack(wire.REQUEST, bench.counter, body, tag))
    assert said == refused(wire.NO_BAD_TAG)


def test_another_devices_request_is_refused(bench: DeviceBench) -> None:
    other = DeviceBench(device_id=b"target-2")
    other.open()
    other.counter = bench.counter
    assert bench.say(other.request(wire.STATUS)) == refused(wire.NO_BAD_TAG)


@pytest.mark.parametrize("body", [b"\x81\x18\x4d", b"\x81\x18\x80"])
def test_a_foreign_id_is_unknown_sealed_or_not(bench: DeviceBench, body: bytes) -> None:
    assert bench.say(body) == [[REFUSED, wire.NO_UNKNOWN, 0]]
    bench.counter += 1
    (reply,) = bench.say(bench.sealed(bench.counter, body))
    assert message.unpack(reply[2]) == [REFUSED, wire.NO_UNKNOWN, 0]


def test_an_answer_asked_for_sealed_is_unknown(bench: DeviceBench) -> None:
    """Ids that devices send, and those of the plain side, are no commands."""
    for message_id, fields in ((wire.DONE, ()), (wire.SILENCE, ()), (wire.HELLO, (1, 0))):
        assert bench.ask(message_id, *fields) == [REFUSED, wire.NO_UNKNOWN, message_id]
    assert not bench.device.journal.latched


@pytest.mark.parametrize("message_id", [wire.STATUS, wire.CLOCK, wire.TIDY, wire.DONE])
def test_commands_are_not_taken_unsealed(bench: DeviceBench, message_id: int) -> None:
    assert bench.say(message.pack(message_id)) == refused(wire.NO_UNKNOWN, message_id)


def test_broadcast_and_air_are_heard_only_for_silence(bench: DeviceBench) -> None:
    assert bench.say(message.pack(wire.HELLO, 1, 0), address=255) == []
    assert bench.say(message.pack(wire.HELLO, 1, 0), link=255) == []
    assert bench.say(bench.request(wire.STATUS), address=255) == []
    assert bench.silence() == []
    assert bench.device.journal.latched


def test_counters_of_the_core_reach_u32() -> None:
    link = Opening(b"target-1", bytes(32))
    link.pending(bytes(12))
    key = Key(bytes(32))
    link.open(bytes(12), opening.open_tag(key, bytes(12), bytes(12), b"target-1"))
    sealed = opening.link_key(key, bytes(12), bytes(12), b"target-1")
    tag = opening.seal_tag(sealed, opening.TO_DEVICE, b"target-1", 0xFFFFFFFF, b"x")
    assert link.unwrap(0xFFFFFFFF, b"x", tag) is None
    link.keep(b"reply")
    assert link.unwrap(0xFFFFFFFF, b"x", tag) == b"reply"
