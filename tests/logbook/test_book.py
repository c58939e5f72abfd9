"""Events go in once and come out in order; runs open, close and are found again."""

from __future__ import annotations

import json
import sqlite3
import threading
from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blindfield.logbook.book import Logbook
from blindfield.logbook.export import to_json_lines
from blindfield.model.errors import LogbookError
from blindfield.model.events import Event
from blindfield.model.ids import run_id_text
from blindfield.model.run_summary import RunSummary
from support.logbook_kit import KEY, UTC, drawn, note, run_id, strike, summary, with_open_run


def test_commits_are_synchronised_and_foreign_keys_hold(book: Logbook) -> None:
    with book.database.reading() as connection:
        asked = ("journal_mode", "synchronous", "foreign_keys")
        said = [connection.exec_driver_sql(f"PRAGMA {name}").scalar() for name in asked]
    assert said == ["wal", 3, 1]  # 3: EXTRA, at least FULL in either journal mode


def test_an_acknowledged_event_is_seen_by_another_program_at_once(
    book: Logbook, path: Path
) -> None:
    number = book.append(strike(None, 1))
    other = sqlite3.connect(path)
    assert other.execute("SELECT id, kind FROM events").fetchall() == [(number, "strike")]
    other.close()


@pytest.mark.parametrize("is_open", [True, False])
def test_events_come_back_as_they_went_in(book: Logbook, is_open: bool) -> None:
    run = with_open_run(book)
    sent = [strike(run, 1), note(run, "wind"), strike(run, 2, number=2)]
    numbers = book.append_many(sent)
    if not is_open:
        book.close_run(run, summary(run))
    got = book.events_of(run)
    assert got[1:] == sent
    assert [event.id for event in got[1:]] == numbers == sorted(numbers)
    assert book.events_of(None) == []


def test_a_journal_record_is_one_event_however_often_it_comes(book: Logbook) -> None:
    run = with_open_run(book)
    first = book.append(strike(run, 1))
    assert book.append(strike(run, 1, note="again")) == first
    book.close_run(run, summary(run))
    assert book.append(strike(None, 1)) == first  # fetched once more after the run
    later = with_open_run(book, 2)
    assert book.append_many([strike(later, 1), strike(later, 2), strike(later, 2)])[0] == first
    assert [event.data for event in book.events_of(run) if event.kind == "strike"] == [
        strike(run, 1).data
    ]
    assert len(book.events_of(later)) == 2


def test_append_many_is_all_or_none(book: Logbook) -> None:
    run = with_open_run(book)
    with pytest.raises(LogbookError, match="never drawn"):
        book.append_many([strike(run, 1), note(run_id(99), "foreign")])
    assert len(book.events_of(run)) == 1


def test_a_run_is_drawn_once(book: Logbook) -> None:
    run = with_open_run(book)
    with pytest.raises(LogbookError, match="drawn already"):
        book.append(drawn(run))
    assert len(book.events_of(run)) == 1


def test_the_close_keeps_the_summary_and_is_done_once(book: Logbook) -> None:
    run = with_open_run(book)
    assert [record.run_id for record in book.open_runs()] == [run]
    book.close_run(run, summary(run))
    book.close_run(run, summary(run))  # a repeat after a lost answer
    assert book.open_runs() == []
    record = book.find_run(None)
    assert record.summary == summary(run)
    assert record.field_name == "upper meadow"
    with pytest.raises(LogbookError, match="closed already"):
        book.close_run(run, summary(run, outcome="not_met"))
    with pytest.raises(ValueError, match="another run"):
        book.close_run(run, summary(run_id(5)))


def test_events_after_the_close_are_kept(book: Logbook) -> None:
    run = with_open_run(book)
    book.close_run(run, summary(run))
    late = strike(run, 9)
    book.append(late)
    assert book.events_of(run)[-1] == late


def test_runs_are_listed_latest_first_and_found_by_prefix(book: Logbook) -> None:
    with pytest.raises(LogbookError, match="no run yet"):
        book.find_run(None)
    runs = [with_open_run(book, number) for number in (3, 1, 2)]
    assert [record.run_id for record in book.runs()] == runs[::-1]
    assert [record.run_id for record in book.runs(2)] == runs[:0:-1]
    assert book.find_run(None).run_id == runs[-1]
    assert book.find_run(run_id_text(runs[0])[:13]).run_id == runs[0]
    with pytest.raises(LogbookError, match="3 runs begin with"):
        book.find_run(run_id_text(runs[0])[:3])


def _summarise(events: Sequence[Event]) -> RunSummary:
    run = events[0].run_id
    assert run is not None
    strikes = sum(event.kind == "strike" for event in events)
    cancelled = sum(event.kind == "correction" for event in events)
    return summary(run, find_run_s=summary(run).find_run_s[: strikes - cancelled])


def test_a_summary_is_rebuilt_from_the_events_and_compared(book: Logbook) -> None:
    run = with_open_run(book)
    number = book.append_many([strike(run, 1), strike(run, 2)])[1]
    assert book.rebuild(run, _summarise).stored is None
    with pytest.raises(LogbookError, match="is open"):
        book.rebuild(run, _summarise, store=True)
    book.close_run(run, summary(run))
    assert book.rebuild(run, _summarise).agrees
    taken_back = Event(
        kind="correction", source="person", host_epoch=b"loopclok", utc=UTC, run_id=run,
        data={"event_id": number, "verdict": "no_strike"},
    )  # fmt: skip
    book.append(taken_back)
    assert not book.rebuild(run, _summarise, store=True).agrees
    assert book.rebuild(run, _summarise).agrees
    record = book.find_run(None)
    assert record.summary is not None
    assert record.summary.found == 1


def test_json_lines_hold_every_event_in_order(book: Logbook) -> None:
    run = with_open_run(book)
    book.append_many([strike(run, 1), note(run, "line\nbreak")])
    lines = to_json_lines(book.events_of(run)).splitlines()
    assert [Event.from_json(json.loads(line)) for line in lines] == book.events_of(run)


def test_what_was_learnt_is_kept_but_not_while_a_run_is_open(book: Logbook) -> None:
    book.facts.put("device", "aa", "rate_ppm", 12.5, utc=UTC)
    book.facts.put("device", "aa", "rate_ppm", -3, utc=UTC)
    book.facts.put("device", "ab", "rate_ppm", [1], utc=UTC)
    run = with_open_run(book)
    with pytest.raises(LogbookError, match="while a run is open"):
        book.facts.put("device", "aa", "rate_ppm", 0, utc=UTC)
    assert book.facts.of("device", "aa") == {"rate_ppm": -3}
    assert book.facts.of("field", "aa") == {}
    book.close_run(run, summary(run))
    book.facts.put("field", "meadow", "margin", None, utc=UTC)
    assert book.facts.of("field", "meadow") == {"margin": None}


@pytest.mark.parametrize("number", range(8))
def test_two_programs_that_make_one_logbook_agree_on_the_ids(path: Path, number: int) -> None:
    path = path.with_name(f"{number}.sqlite")
    got: dict[int, list[int]] = {}
    together = threading.Barrier(2)

    def record(who: int) -> None:
        together.wait()
        with Logbook.open(path, field_key=KEY, busy_s=30) as book:
            got[who] = [book.append(strike(None, seq)) for seq in range(20)]

    threads = [threading.Thread(target=record, args=(who,)) for who in (1, 2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert got[1] == got[2]
    assert len(set(got[1])) == 20


def test_a_logbook_in_memory_works_like_one_on_disk() -> None:
    with Logbook.open(None, field_key=KEY) as book:
        run = with_open_run(book)
        book.close_run(run, summary(run))
        assert len(book.events_of(run)) == 1


STEPS = st.lists(
    st.tuples(st.sampled_from(["strike", "again", "note", "draw", "close"]), st.integers(0, 3)),
    max_size=25,
)


def test_any_file_name_will_do(tmp_path: Path) -> None:
    path = tmp_path / "new folder" / "our log #1? 50%20 ü.sqlite"
    with Logbook.open(path, field_key=KEY) as book:
        book.append(note(None, "x"))
    assert [one.name for one in path.parent.iterdir()] == [path.name]


@given(STEPS)
@settings(max_examples=40, deadline=None)
def test_any_order_of_doings_loses_and_doubles_nothing(steps: list[tuple[str, int]]) -> None:
    runs: dict[bytes, bool] = {}
    kept: dict[bytes | None, list[Event]] = {None: []}
    seen: set[int] = set()
    with Logbook.open(None, field_key=KEY) as book:
        for seq, (doing, number) in enumerate(steps):
            run: bytes | None = run_id(number)
            run = run if run in runs else None
            if doing == "draw" and run is None:
                run = with_open_run(book, number)
                runs[run], kept[run] = True, []
            elif doing == "close" and run is not None and runs[run]:
                book.close_run(run, summary(run))
                runs[run] = False
            elif doing == "note":
                kept[run].append(note(run, str(seq)))
                book.append(kept[run][-1])
            elif doing == "strike" or (doing == "again" and seen):
                record = max(seen) if doing == "again" else seq
                book.append(strike(run, record))
                if record not in seen:
                    kept[run].append(strike(run, record))
                seen.add(record)
        for run, events in kept.items():
            assert [one for one in book.events_of(run) if one.kind != "run_drawn"] == events
        assert {record.run_id for record in book.open_runs()} == {run for run in runs if runs[run]}
