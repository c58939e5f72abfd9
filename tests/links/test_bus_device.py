"""A device's own end of the shared pair: when it speaks, and when it does not."""

from __future__ import annotations

import pytest

from fieldcore import frame, message, opening, wire
from fieldcore.device import Device
from fieldcore.seal import Key
from fielddevice.links import bus
from support.memory_link import DEVICE_ID, KEY, DeskBoard

OTHER = b"device-2"
ADDRESS = 40
SEARCH = 7


class Wires:
    """The board's side of the pair, by hand. `low_now`: the line is at space."""

    reading = None

    def __init__(self) -> None:
        self.said: list[bytes] = []
        self.drives: list[bool] = []
        self.low_now = False
        self.all_sent = True
        self.held_us = 0

    def read(self) -> bytes | None:
        return None

    def drive(self, on: bool) -> None:
        self.drives.append(on)

    def write(self, data: bytes) -> None:
        assert self.drives[-1]
        self.said.append(data)

    def sent(self) -> bool:
        return self.all_sent

    def low(self) -> bool:
        return self.low_now

    def hold_low(self, us: int) -> None:
        self.held_us = us


class Bench:
    """A device on the pair at a time set by hand; `thinks_us`: how long an answer takes it."""

    def __init__(self) -> None:
        self.wires = Wires()
        self.board = DeskBoard()
        self.board.hints = False
        self.now = 1_000_000
        self.thinks_us = 0
        self.link = bus.BusLink(self.wires, DEVICE_ID, self.board.random, self._now_us)
        self.device = Device(self.board)
        self.board.line = self.link.write

    def _now_us(self) -> int:
        return self.now + self.thinks_us

    def hear(self, *frames: tuple[int, bytes]) -> list[list[object]]:
        """What it says to these frames, which come at once."""
        return self.hear_bytes(b"\0" + b"".join(frame.encode(*one) for one in frames))

    def hear_bytes(self, data: bytes) -> list[list[object]]:
        self.wires.said.clear()
        self.device.clock.advance(self.now)
        self.link.deliver(self.device, data, self.now)
        self.thinks_us = 0
        if self.wires.said:
            self.pass_us(30_000)
        reader = frame.Reader()
        reader.feed(b"".join(self.wires.said))
        said = []
        while found := reader.next():
            assert found[0] == 0
            said.append(message.unpack(found[1]))
        assert not reader.bad
        return said

    def pass_us(self, us: int, step_us: int = 500) -> None:
        for _ in range(us // step_us):
            self.now += step_us
            self.link.mind(self.device, self.now)

    def seated(self) -> Bench:
        said = self.hear((255, message.pack(wire.SEAT, DEVICE_ID, ADDRESS, SEARCH)))
        assert [values[:2] for values in said] == [[wire.TOKEN, ADDRESS]]
        return self


POLL = message.pack(wire.POLL)
HELLO = message.pack(wire.HELLO, 1, 0)
SILENCE = message.pack(wire.SILENCE)


def test_the_numbers_of_the_link_are_those_of_the_table() -> None:
    for name in ("POLL", "TOKEN", "FIND", "HERE", "SEAT", "BY_BREAK"):
        assert getattr(bus, f"_{name}") == getattr(wire, name)


def test_a_device_without_an_address_answers_no_poll_and_no_hello() -> None:
    bench = Bench()
    for address in (0, 1, 32, ADDRESS, 255):
        assert bench.hear((address, POLL)) == []
        assert bench.hear((address, HELLO)) == []


def test_it_answers_at_its_address_and_nowhere_else() -> None:
    bench = Bench().seated()
    for address in range(256):
        said = bench.hear((address, HELLO))
        assert [values[0] for values in said] == ([wire.HELLO_IS] if address == ADDRESS else [])


@pytest.mark.parametrize("address", [32, 100, 247])
def test_every_token_has_the_same_size(address: int) -> None:
    bench = Bench()
    bench.hear((255, message.pack(wire.SEAT, DEVICE_ID, address, SEARCH)))
    sizes = set()
    for _ in range(400):
        bench.hear((address, POLL))
        sizes.add(len(bench.wires.said[0]))
        bench.device.note(wire.EVENT_STRIKE, bytes(8))
    assert sizes == {15}


def test_a_token_says_when_there_is_something_and_when_the_link_must_be_opened() -> None:
    bench = Bench().seated()
    assert bench.hear((ADDRESS, POLL))[0][2] == 2
    nonce = bench.hear((ADDRESS, HELLO))[0][8]
    mine = bytes(12)
    assert isinstance(nonce, bytes)
    tag = opening.open_tag(Key(KEY), nonce, mine, DEVICE_ID)
    assert bench.hear((ADDRESS, message.pack(wire.OPEN, mine, tag)))[0][0] == wire.OPENED
    before = bench.hear((ADDRESS, POLL))[0]
    assert before[2] == 1  # the record of its start
    journal = bench.device.journal
    journal.ack(journal.journal_id, journal.last_seq)
    assert bench.hear((ADDRESS, POLL))[0][2] == 0
    bench.device.note(wire.EVENT_STRIKE, bytes(8))
    after = bench.hear((ADDRESS, POLL))[0]
    assert after[2] == 1
    assert after[3] != before[3]


def test_what_the_core_would_say_unasked_is_not_said() -> None:
    bench = Bench().seated()
    bench.wires.said.clear()
    bench.board.send(0, frame.encode(0, message.pack(wire.HAVE_DATA)))
    assert bench.wires.said == []
    assert bench.hear((255, HELLO)) == []
    assert bench.hear((255, POLL)) == []


def test_an_answer_that_took_too_long_is_not_given() -> None:
    bench = Bench().seated()
    bench.thinks_us = bus.ANSWER_US + 1
    assert bench.hear((ADDRESS, POLL)) == []
    bench.thinks_us = bus.ANSWER_US
    assert len(bench.hear((ADDRESS, POLL))) == 1


def test_of_questions_that_came_together_only_the_last_is_answered() -> None:
    bench = Bench().seated()
    assert bench.hear((ADDRESS, HELLO), (ADDRESS + 1, POLL)) == []
    said = bench.hear((ADDRESS, POLL), (ADDRESS, POLL), (ADDRESS, HELLO))
    assert [values[0] for values in said] == [wire.HELLO_IS]


def test_a_search_is_answered_once_until_the_next_search() -> None:
    bench = Bench()
    find = message.pack(wire.FIND, SEARCH, 0, bytes(8))
    assert [values[:2] for values in bench.hear((255, find))] == [[wire.HERE, DEVICE_ID]]
    bench.seated()
    assert bench.hear((255, find)) == []
    assert len(bench.hear((255, message.pack(wire.FIND, SEARCH + 1, 0, bytes(8))))) == 1


@pytest.mark.parametrize("bits", range(65))
def test_a_branch_is_answered_by_those_within_it(bits: int) -> None:
    bench = Bench()
    inside = bytearray(DEVICE_ID)
    outside = bytearray(DEVICE_ID)
    if bits < 64:
        inside[bits >> 3] ^= 0x80 >> (bits & 7)  # the first bit that does not count
    assert len(bench.hear((255, message.pack(wire.FIND, SEARCH, bits, bytes(inside))))) == 1
    if bits:
        outside[(bits - 1) >> 3] ^= 0x80 >> ((bits - 1) & 7)
        assert bench.hear((255, message.pack(wire.FIND, SEARCH, bits, bytes(outside)))) == []


def test_more_bits_than_there_are_find_nobody() -> None:
    assert Bench().hear((255, message.pack(wire.FIND, SEARCH, 65, DEVICE_ID))) == []


def test_an_address_given_to_another_is_given_back() -> None:
    bench = Bench().seated()
    assert bench.hear((255, message.pack(wire.SEAT, OTHER, ADDRESS, SEARCH))) == []
    assert bench.hear((ADDRESS, POLL)) == []
    assert len(bench.hear((255, message.pack(wire.FIND, SEARCH, 0, bytes(8))))) == 1


@pytest.mark.parametrize("address", [0, 1, 31, 248, 255])
def test_an_address_that_no_device_may_have_is_none(address: int) -> None:
    bench = Bench().seated()
    assert bench.hear((255, message.pack(wire.SEAT, DEVICE_ID, address, SEARCH))) == []
    assert bench.hear((ADDRESS, POLL)) == []


def test_it_lets_go_of_the_pair_when_its_last_bit_is_over() -> None:
    bench = Bench().seated()
    bench.wires.drives.clear()
    bench.link.deliver(bench.device, frame.encode(ADDRESS, POLL), bench.now)
    assert bench.wires.drives == [True]
    wait_us = bench.link.mind(bench.device, bench.now)
    assert wait_us <= len(bench.wires.said[-1]) * bus.BYTE_US
    bench.now += wait_us
    bench.link.mind(bench.device, bench.now)
    assert bench.wires.drives == [True, False]


def test_a_transmitter_that_never_ends_is_cut_off() -> None:
    bench = Bench().seated()
    bench.wires.drives.clear()
    bench.wires.all_sent = False
    bench.link.deliver(bench.device, frame.encode(ADDRESS, POLL), bench.now)
    bench.now += 20_000
    bench.link.mind(bench.device, bench.now)
    assert bench.wires.drives == [True, False]


def test_silence_needs_no_address_and_gets_no_answer() -> None:
    bench = Bench()
    assert bench.hear((255, SILENCE)) == []
    assert bench.device.journal.latched


@pytest.mark.parametrize(("held_us", "silences"), [(800, False), (9_000, False), (12_000, True)])
def test_a_break_silences_and_a_byte_does_not(held_us: int, silences: bool) -> None:
    bench = Bench().seated()
    bench.link.deliver(bench.device, b"\0", bench.now)
    bench.wires.low_now = True
    bench.pass_us(held_us)
    bench.wires.low_now = False
    bench.pass_us(30_000)
    assert bool(bench.device.journal.latched) is silences
    assert bench.device.journal.silence_count == int(silences)


def test_a_line_that_is_low_whenever_one_looks_is_no_break_while_bytes_come() -> None:
    bench = Bench().seated()
    bench.wires.low_now = True
    for _ in range(20):
        bench.pass_us(5_000)
        bench.link.deliver(bench.device, b"x", bench.now)
    assert not bench.device.journal.latched


def test_noise_and_foreign_frames_are_no_questions() -> None:
    bench = Bench().seated()
    for body in (b"", b"\x81", b"\x80", b"\xff\x0c", b"\x84\x0c\0\0\0", b"\x82\x18\x70\0"):
        assert bench.hear((255, body)) == []
    for body in (b"", b"\x81", b"\xff\x0c", b"\x84\x0c\0\0\0"):
        said = bench.hear((ADDRESS, body))
        assert all(values[0] == wire.REFUSED for values in said)


def test_half_a_frame_and_then_nothing_spoils_no_later_question() -> None:
    bench = Bench().seated()
    whole = frame.encode(ADDRESS, HELLO)
    for cut in range(len(whole)):
        assert bench.hear_bytes(whole[:cut]) == []
        bench.pass_us(60_000)
        assert len(bench.hear((ADDRESS, POLL))) == 1


def test_a_post_holds_the_break_as_long_as_it_takes() -> None:
    bench = Bench()
    bench.link.hold_break()
    assert bench.wires.held_us == 20_000 > bus.BREAK_US
