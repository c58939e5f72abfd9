"""The journal under power cuts at every byte: nothing promised is lost, nothing comes twice."""

import itertools
import struct
from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldcore.journal import RECORD, Journal
from support.flash import (
    STRIKE,
    Flash,
    PowerCutError,
    exhausted,
    fill,
    mounted,
    put,
    records,
    seq_of,
    silence,
)

# Power cuts


class Device:
    """A host's view of a device that is cut again and again: what it was promised."""

    def __init__(self, flash: Flash) -> None:
        self.flash = flash
        self.promised: dict[int, bytes] = {}
        self.clock_ids: list[int] = []
        self.silence = (0, False)  # the last whose append returned
        self.in_flight = (0, False)
        self.acked = 0

    def boot(self, budget: int = -1) -> Journal:
        self.flash.budget = budget
        journal = mounted(self.flash, seed=len(self.clock_ids))
        self.clock_ids.append(journal.clock_id)
        return journal

    def work(self, journal: Journal, tag: int) -> None:
        """Two sessions that between them open pages, silence, acknowledge and erase."""
        for step in range(22):
            payload = struct.pack("<II", tag, step)
            if seq := put(journal, STRIKE, payload):
                assert seq not in self.promised
                self.promised[seq] = payload
            if step % 5 == 4:
                self.in_flight = (journal.silence_count + 1, step % 2 == 0)
                if silence(journal, *self.in_flight):
                    self.silence = self.in_flight
            if step % 11 == 10:
                self.collect(journal)
                journal.ack(journal.journal_id, journal.last_seq)
                self.acked = journal.last_seq
                journal.tidy()

    def collect(self, journal: Journal) -> None:
        """Every promised record not yet acknowledged is there once, as it was written."""
        found = records(journal)
        numbers = [seq_of(r) for r in found]
        assert numbers == sorted(set(numbers))
        held = {seq_of(r): r[20:28] for r in found}
        for seq, payload in self.promised.items():
            assert held.get(seq, payload) == payload
            assert seq <= self.acked or seq in held

    def check_silence(self, journal: Journal) -> None:
        """What was recorded holds; where a record may have been torn, latched and counted."""
        states = {self.silence, self.in_flight}
        states |= {(count + 1, True) for count, _ in states}
        assert (journal.silence_count, journal.latched) in states


def bytes_of_work(erased_half: int) -> int:
    flash = Flash(erased_half=erased_half)
    device = Device(flash)
    journal = device.boot(10**6)
    device.work(journal, 0)
    return 10**6 - flash.budget


@pytest.mark.parametrize("erased_half", [0, 1])
def test_a_cut_at_every_byte_loses_nothing_promised(erased_half: int) -> None:
    total = bytes_of_work(erased_half)
    assert total > 800
    for budget in range(total):
        device = Device(Flash(erased_half=erased_half))
        with pytest.raises(PowerCutError):
            device.work(device.boot(budget), 1)
        journal = device.boot()
        device.collect(journal)
        device.check_silence(journal)
        device.work(journal, 2)
        device.collect(device.boot())
        assert device.clock_ids == sorted(set(device.clock_ids))


def cuts() -> Iterator[tuple[int, int]]:
    yield from itertools.product(range(0, 140, 3), range(0, 140, 7))


def test_two_cuts_close_together_lose_nothing_either() -> None:
    total = bytes_of_work(0)
    for first, second in cuts():
        device = Device(Flash())
        for budget in (total - 140 + first, second):
            try:
                device.work(device.boot(budget), budget)
            except PowerCutError:
                pass
        journal = device.boot()
        device.collect(journal)
        device.work(journal, 999)
        assert device.clock_ids == sorted(set(device.clock_ids))


@given(st.lists(st.integers(0, 700), max_size=12), st.integers(0, 1))
@settings(max_examples=60, deadline=None)
def test_any_series_of_cuts_loses_nothing(budgets: list[int], erased_half: int) -> None:
    device = Device(Flash(pages=4, erased_half=erased_half))
    for tag, budget in enumerate(budgets):
        try:
            device.work(device.boot(budget), tag)
        except PowerCutError:
            pass
    journal = device.boot()
    device.collect(journal)
    assert device.clock_ids == sorted(set(device.clock_ids))


def test_a_cut_while_tidying_an_exhausted_journal_leaves_it_latched() -> None:
    spent = 0
    while True:
        flash = Flash()
        exhausted(flash)
        journal = mounted(flash, seed=100 + spent)  # without room: its clock is in RAM alone
        journal.set_silence(40, True)
        journal.ack(journal.journal_id, journal.last_seq)
        flash.budget = spent
        try:
            journal.tidy()
        except PowerCutError:
            flash.budget = -1
            again = mounted(flash)
            assert again.latched
            assert again.clock_id != journal.clock_id
            # Where nothing was erased yet its boot had no room either, and the clock is drawn.
            if again.last_seq > journal.last_seq:
                assert again.clock_id > journal.clock_id
            spent += 1
            continue
        break
    assert spent > 32


@pytest.mark.parametrize("written", range(RECORD))
def test_a_page_whose_header_was_torn_is_used_all_the_same(written: int) -> None:
    flash = Flash()
    journal = mounted(flash)
    while journal.last_seq < 6:
        put(journal)
    flash.budget = RECORD + written
    with pytest.raises(PowerCutError):
        put(journal)
    flash.budget = -1
    again = mounted(flash)
    assert again.free() > 0
    added = fill(again)
    assert flash.erases == 0
    assert [seq_of(r) for r in records(again)][:7] == [1, 2, 3, 4, 5, 6, 7]
    assert [seq_of(r) for r in records(mounted(flash)) if r[0] == STRIKE][-len(added) :] == added


# Corruption


@given(st.integers(0, 20), st.integers(0, 31), st.integers(1, 255))
@settings(max_examples=80, deadline=None)
def test_a_corrupt_slot_costs_only_itself(slot: int, byte: int, flip: int) -> None:
    flash = Flash()
    journal = mounted(flash)
    fill(journal)
    before = {seq_of(r): r for r in records(journal)}
    flash.data[slot * RECORD + byte] ^= flip
    again = mounted(flash)
    after = {seq_of(r): r for r in records(again)}
    lost = [seq for seq in before if seq not in after]
    assert len(lost) <= 1
    assert all(after[seq] == before[seq] for seq in before if seq in after)
    assert again.journal_id == journal.journal_id


def test_a_corrupt_header_costs_no_record() -> None:
    flash = Flash()
    journal = mounted(flash)
    put(journal)
    flash.data[0] ^= 1
    again = mounted(flash)
    assert again.journal_id == journal.journal_id
    assert [seq_of(r) for r in records(again)] == [1, 2, 3]


def test_corrupt_last_records_do_not_give_their_numbers_away() -> None:
    flash = Flash()
    clock_id = mounted(flash).clock_id
    flash.data[RECORD + 9] ^= 4  # the boot record itself
    again = mounted(flash)
    assert again.clock_id > clock_id
    assert again.last_seq == 2


def test_a_corrupt_newest_page_does_not_give_its_numbers_away() -> None:
    flash = Flash()
    journal = mounted(flash)
    while journal.last_seq < 9:
        put(journal)
    for slot in (8, 9, 10):  # the second page's header and both its records
        flash.data[slot * RECORD + 5] ^= 4
    assert mounted(flash).last_seq > 9
