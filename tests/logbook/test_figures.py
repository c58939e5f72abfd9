"""Figures kept beside runs: found again, never stale, never in the way."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from sqlalchemy import event

from blindfield.logbook import figures as module
from blindfield.logbook.book import Logbook
from blindfield.logbook.figures import Figures, query_of
from support.logbook_kit import KEY, note, summary, with_open_run

WHO = "Ana"


def closed(book: Logbook, number: int, **changes: object) -> bytes:
    run = with_open_run(book, number)
    book.close_run(run, summary(run, **{"searcher": WHO, **changes}))
    return run


def test_what_is_kept_is_found_in_the_order_made(book: Logbook) -> None:
    made = [closed(book, number) for number in range(1, 6)]
    kept = Figures(book.database)
    assert [row.data for row in kept.latest(WHO, 9)] == [None] * 5
    kept.keep([(made[1], {"a": 1.5}), (made[3], {"a": 2})])
    rows = kept.latest(WHO, 4)
    assert [row.record.run_id for row in rows] == made[1:]
    assert [row.data for row in rows] == [{"a": 1.5}, None, {"a": 2}, None]
    assert [row.number for row in rows] == sorted(row.number for row in rows)


def test_to_keep_again_replaces(book: Logbook) -> None:
    run = closed(book, 1)
    kept = Figures(book.database)
    for value in (1, 2):
        kept.keep([(run, {"a": value})])
    assert kept.latest(WHO, 9)[0].data == {"a": 2}


def test_a_later_event_of_the_run_makes_it_stale(book: Logbook) -> None:
    run, other = closed(book, 1), closed(book, 2)
    kept = Figures(book.database)
    kept.keep([(run, {"a": 1}), (other, {"a": 2})])
    book.append(note(run, "that was no strike"))
    assert [row.data for row in kept.latest(WHO, 9)] == [None, {"a": 2}]


def test_another_version_counts_as_absent(book: Logbook) -> None:
    run = closed(book, 1)
    kept = Figures(book.database)
    kept.keep([(run, {"a": 1})])
    with book.database.writing() as connection:
        connection.exec_driver_sql(f"UPDATE run_figures SET version = {module.VERSION + 1}")
    assert kept.latest(WHO, 9)[0].data is None


def test_a_damaged_row_counts_as_absent(book: Logbook) -> None:
    run = closed(book, 1)
    kept = Figures(book.database)
    kept.keep([(run, {"a": 1})])
    for text in ("{", "[1]", ""):
        with book.database.writing() as connection:
            connection.exec_driver_sql("UPDATE run_figures SET data = ?", (text,))
        assert kept.latest(WHO, 9)[0].data is None


def test_open_runs_and_those_that_never_began_are_not_listed(book: Logbook) -> None:
    closed(book, 1, started_utc=None)
    with_open_run(book, 2)
    kept = Figures(book.database)
    assert kept.latest(WHO, 9) == []
    assert kept.searchers() == []


def test_everybody_is_listed_whoever_searched_last_first(book: Logbook) -> None:
    for number, who in enumerate(("Ana", "Bo", "", "Ana"), 1):
        closed(book, number, searcher=who)
    tallies = Figures(book.database).searchers()
    assert [(one.searcher, one.runs) for one in tallies] == [("Ana", 2), ("", 1), ("Bo", 1)]
    (row,) = Figures(book.database).latest("Bo", 9)
    assert row.record.summary is not None
    assert row.record.summary.searcher == "Bo"


def test_a_run_that_is_deleted_takes_its_figures_along(path: Path) -> None:
    with Logbook.open(path, field_key=KEY) as book:
        run = closed(book, 1)
        Figures(book.database).keep([(run, {"a": 1})])
        with book.database.writing() as connection:
            connection.exec_driver_sql("DELETE FROM events")
            connection.exec_driver_sql("DELETE FROM runs")
    with sqlite3.connect(path) as plain:
        assert plain.execute("SELECT count(*) FROM run_figures").fetchone() == (0,)
    plain.close()


def test_one_person_is_found_by_the_index_not_by_reading_all(book: Logbook) -> None:
    closed(book, 1)
    seen: list[str] = []
    with book.database.reading() as connection:
        event.listen(connection, "before_cursor_execute", lambda *args: seen.append(args[2]))
        rows = connection.execute(query_of(WHO, 5, known=False)).all()
        plan = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {seen[0]}", (WHO, 5, 0)).all()
    assert len(rows) == 1
    assert any("runs_by_searcher" in str(step) for step in plan)
    assert not any("TEMP B-TREE" in str(step) for step in plan)
