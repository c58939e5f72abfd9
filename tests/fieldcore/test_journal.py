"""The journal in plain use: layout, reading, room, acknowledgement, tidying, the latch."""

import struct
import zlib

import pytest

from fieldcore.journal import RECORD, RESERVE
from support.flash import (
    BOOT,
    STRIKE,
    Flash,
    exhausted,
    fill,
    mounted,
    put,
    records,
    seq_of,
    silence,
)

# Layout and plain use


def test_a_record_is_laid_out_as_the_wire_states() -> None:
    journal = mounted(Flash())
    seq = journal.append(STRIKE, 0x81, 2, 0x3FFFFFFF, 999, 0xCAFE, b"payload!")
    record = records(journal)[-1]
    head = struct.pack("<BBBBIIIHH", STRIKE, 0x81, 2, 0, seq, 1, 0x3FFFFFFF, 999, 0xCAFE)
    assert record == head + b"payload!" + struct.pack("<I", zlib.crc32(head + b"payload!"))


def test_an_empty_region_becomes_a_journal_with_one_boot() -> None:
    journal = mounted(Flash())
    assert (journal.clock_id, journal.last_seq, journal.acked_seq) == (1, 1, 0)
    assert 0 < journal.journal_id < 2**30
    assert not journal.latched
    [boot] = records(journal)
    assert boot[0] == BOOT
    assert int.from_bytes(boot[24:28], "little") == journal.journal_id


@pytest.mark.parametrize("filler", [b"\0", b"\x5a", b"text"])
def test_a_foreign_region_is_formatted(filler: bytes) -> None:
    flash = Flash()
    flash.data[:] = (filler * len(flash.data))[: len(flash.data)]
    journal = mounted(flash)
    assert flash.erases == flash.pages
    assert len(records(journal)) == 1


def test_two_formats_draw_different_ids() -> None:
    assert mounted(Flash(), 1).journal_id != mounted(Flash(), 2).journal_id


def test_every_boot_keeps_the_journal_and_raises_the_clock() -> None:
    flash = Flash()
    first = mounted(flash)
    put(first)
    second = mounted(flash, seed=2)
    assert second.journal_id == first.journal_id
    assert second.clock_id == first.clock_id + 1
    assert second.last_seq == 3
    assert flash.erases == 0


def test_a_renewed_clock_is_durable_at_once() -> None:
    flash = Flash()
    journal = mounted(flash)
    journal.renew_clock()
    assert journal.clock_id == 2
    assert mounted(flash).clock_id == 3


def test_reading_gives_every_record_once_in_order_at_any_step() -> None:
    journal = mounted(Flash(pages=8))
    fill(journal)
    expected = list(range(1, journal.last_seq + 1))
    for step in (1, 2, 7, 100):
        assert [seq_of(r) for r in records(journal, step=step)] == expected
    assert [seq_of(r) for r in records(journal, after=20)] == expected[20:]
    assert records(journal, after=journal.last_seq) == []


def test_reading_never_writes_past_the_buffer() -> None:
    journal = mounted(Flash())
    put(journal)
    buf = bytearray(RECORD + 7)
    assert journal.read_into(0, buf, 100) == 1
    assert len(buf) == RECORD + 7


def test_a_fetch_that_goes_on_reads_only_its_own_slots() -> None:
    flash = Flash(pages=8, page_size=4096)
    journal = mounted(flash)
    fill(journal)
    buf = bytearray(5 * RECORD)
    flash.reads = 0
    after = 0
    while count := journal.read_into(after, buf, 5):
        after += count
    assert after == journal.last_seq > 1000
    assert flash.reads <= after + flash.pages


def test_a_reader_at_the_end_sees_what_is_appended_later() -> None:
    journal = mounted(Flash())
    assert len(records(journal)) == 1
    put(journal)
    assert [seq_of(r) for r in records(journal, after=1)] == [2]


# Full, acknowledged, tidied


def test_a_full_journal_keeps_its_reserve_for_boots_and_silence() -> None:
    journal = mounted(Flash())
    fill(journal)
    assert journal.free() == 0
    assert put(journal) == 0
    used = [silence(journal, i + 1, True) for i in range(RESERVE)]
    assert all(used)
    assert silence(journal, 9, True) == 0
    assert journal.silence_count == RESERVE


def test_free_says_how_many_ordinary_records_fit() -> None:
    journal = mounted(Flash())
    free = journal.free()
    assert len(fill(journal)) == free


def test_nothing_unacknowledged_is_ever_erased() -> None:
    flash = Flash()
    journal = mounted(flash)
    fill(journal)
    assert journal.tidy() == 0
    assert flash.erases == 0
    assert [seq_of(r) for r in records(journal)] == list(range(1, journal.last_seq + 1))


def test_tidy_erases_whole_acknowledged_pages_and_appending_goes_on() -> None:
    journal = mounted(Flash())
    fill(journal)
    assert journal.ack(journal.journal_id, 8)  # page one holds seq 1..7, page two 8..14
    assert journal.tidy() == 1
    assert next(seq_of(r) for r in records(journal)) == 8
    last = journal.last_seq
    assert fill(journal)[0] == last + 1


def test_a_page_with_one_record_left_to_acknowledge_is_kept() -> None:
    journal = mounted(Flash())
    fill(journal)
    journal.ack(journal.journal_id, 6)
    assert journal.tidy() == 0
    journal.ack(journal.journal_id, 7)
    assert journal.tidy() == 1


def test_a_reader_within_an_erased_page_goes_on_in_order() -> None:
    journal = exhausted(Flash())
    buf = bytearray(3 * RECORD)
    assert journal.read_into(0, buf, 3) == 3
    journal.ack(journal.journal_id, 7)
    assert journal.tidy() == 1  # and the erased page is the newest at once
    silence(journal, 99, True)
    assert [seq_of(r) for r in records(journal, after=3)] == list(range(8, journal.last_seq + 1))


def test_append_erases_nothing_even_when_all_is_acknowledged() -> None:
    flash = Flash()
    journal = mounted(flash)
    fill(journal)
    journal.ack(journal.journal_id, journal.last_seq)
    assert put(journal) == 0
    assert flash.erases == 0


def test_an_acknowledgement_is_idempotent_and_never_goes_back() -> None:
    journal = mounted(Flash())
    put(journal)
    assert journal.ack(journal.journal_id, 2)
    assert journal.ack(journal.journal_id, 2)
    assert journal.ack(journal.journal_id, 1)
    assert journal.acked_seq == 2


def test_an_acknowledgement_of_another_journal_or_an_unknown_record_is_refused() -> None:
    journal = mounted(Flash())
    assert not journal.ack(journal.journal_id + 1, 1)
    assert not journal.ack(journal.journal_id, journal.last_seq + 1)
    assert not journal.ack(journal.journal_id, -1)
    assert journal.acked_seq == 0


def test_the_ring_goes_round_for_many_sessions() -> None:
    flash = Flash()
    journal = mounted(flash)
    seen = [1]
    for round_ in range(40):
        seen += fill(journal)
        assert [seq_of(r) for r in records(journal, after=journal.acked_seq)] == [
            s for s in seen if s > journal.acked_seq
        ]
        journal.ack(journal.journal_id, journal.last_seq)
        journal.tidy()
        if round_ % 3 == 0:
            journal = mounted(flash, seed=round_)
            journal.ack(journal.journal_id, journal.last_seq)
            seen.append(journal.last_seq)
            journal.tidy()
    assert seen == list(range(1, len(seen) + 1))
    assert journal.clock_id == 15


# Silence


def test_the_latch_outlives_boots_and_the_erase_of_its_record() -> None:
    flash = Flash()
    journal = mounted(flash)
    silence(journal, 7, True)
    fill(journal)
    journal.ack(journal.journal_id, journal.last_seq)
    assert journal.tidy() == 1
    assert seq_of(records(journal)[0]) > 2
    again = mounted(flash)
    assert (again.silence_count, again.latched) == (7, True)
    silence(again, 7, False)
    assert (mounted(flash).silence_count, mounted(flash).latched) == (7, False)


def test_the_clock_outlives_a_boot_record_that_ended_its_page() -> None:
    flash = Flash()
    journal = mounted(flash)
    while journal.last_seq < 6:
        put(journal)
    journal = mounted(flash)  # its boot takes the last slot of the first page
    journal.ack(journal.journal_id, 7)
    assert journal.tidy() == 1
    assert mounted(flash).clock_id == journal.clock_id + 1


def test_a_boot_without_room_to_say_so_comes_up_latched_with_a_higher_clock() -> None:
    flash = Flash()
    before = exhausted(flash)
    after = mounted(flash, seed=5)
    assert after.latched
    assert after.silence_count == before.silence_count + 1
    assert after.clock_id > before.clock_id
    assert after.last_seq == before.last_seq


def test_a_silence_without_room_is_carried_by_the_next_tidy() -> None:
    flash = Flash()
    journal = exhausted(flash)
    assert silence(journal, 40, True) == 0
    journal.set_silence(40, True)
    journal.ack(journal.journal_id, journal.last_seq)
    assert journal.tidy() == 2
    again = mounted(flash)
    assert (again.silence_count, again.latched) == (40, True)


def test_a_clock_of_a_boot_without_room_is_not_used_again() -> None:
    flash = Flash()
    exhausted(flash)
    boots = [mounted(flash, seed) for seed in range(5)]
    last = boots[-1]
    last.ack(last.journal_id, last.last_seq)
    last.tidy()
    assert mounted(flash).clock_id > max(journal.clock_id for journal in boots)
