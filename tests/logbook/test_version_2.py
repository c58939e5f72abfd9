"""A logbook of version 1 becomes one of version 2, with all that its runs tell."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from blindfield.logbook.book import Logbook
from blindfield.logbook.migrations import STEPS
from blindfield.model.errors import LogbookError
from blindfield.model.ids import run_id_text
from support.logbook_kit import KEY, run_id, summary

WRITTEN = Path(__file__).with_name("version_1.sql").read_text()


@pytest.fixture
def old(path: Path) -> Path:
    connection = sqlite3.connect(path)
    connection.executescript(WRITTEN)
    connection.close()
    return path


def test_runs_keep_what_they_had_and_say_what_was_drawn(old: Path) -> None:
    with Logbook.open(old, field_key=None) as book:
        first, second, given_up = (
            book.find_run(run_id_text(run_id(number))).summary for number in (1, 2, 3)
        )
        assert first is not None
        assert second is not None
        assert given_up is not None
        drawn = book.events_of(run_id(1))[0].data["scenario"]
    sent = tuple(sorted(t["name"] for t in drawn["targets"] if t["in_play"]))
    assert first.outcome == "met"
    assert first.find_run_s == summary(run_id(1)).find_run_s
    assert (first.work, first.start_point) == ("search only", drawn["start"]["name"])
    assert first.sent == sent
    assert len(sent) == 2
    assert (first.searcher, first.knows_places) == ("", False)
    assert second.work == "search and dig"
    # Its problem was never revealed, so nothing is known of it.
    assert (given_up.work, given_up.start_point, given_up.sent) == ("search only", "", ())


def test_they_count_as_runs_of_nobody_named(old: Path) -> None:
    with Logbook.open(old, field_key=None) as book:
        assert [row.kind for row in book.past.runs_of("")] == ["staggered", "pair"]
        assert book.past.runs_of("Vera") == []


def test_a_run_that_was_open_stays_blind_and_can_be_closed(old: Path) -> None:
    with Logbook.open(old, field_key=KEY) as book:
        assert [record.run_id for record in book.open_runs()] == [run_id(4)]
        assert [event.kind for event in book.events_of(run_id(4))] == ["run_drawn", "note"]
        raw = sqlite3.connect(old)
        row = raw.execute("SELECT sent, start_point, searcher FROM runs WHERE is_open").fetchone()
        raw.close()
        assert row == (None, None, None)
        book.close_run(run_id(4), summary(run_id(4), sent=("1", "2", "3"), searcher="Vera"))
        assert book.check_commitment(run_id(4))
        assert book.past.runs_of("Vera")[0].sent == frozenset("123")


def test_it_is_done_once(old: Path) -> None:
    for _ in range(2):
        with Logbook.open(old, field_key=None) as book:
            assert len(book.runs()) == 4
    connection = sqlite3.connect(old)
    versions = connection.execute("SELECT version FROM schema_version ORDER BY version").fetchall()
    connection.close()
    assert versions == [(number + 1,) for number in range(len(STEPS))]


def test_a_damaged_problem_keeps_nobody_from_migrating(path: Path) -> None:
    assert WRITTEN.count('"scenario": {') == 2
    connection = sqlite3.connect(path)
    connection.executescript(WRITTEN.replace('"scenario": {', '"scenery": {', 1))
    connection.close()
    with Logbook.open(path, field_key=None) as book:
        sent = [record.summary.sent for record in book.runs() if record.summary]
    assert sorted(map(len, sent)) == [0, 0, 2]


def test_a_half_migrated_file_cannot_be(old: Path) -> None:
    """A column that is there already makes the step fail: then nothing of it stays."""
    connection = sqlite3.connect(old)
    connection.execute("ALTER TABLE runs ADD COLUMN sent TEXT")
    connection.commit()
    with pytest.raises(LogbookError, match="duplicate column"):
        Logbook.open(old, field_key=None)
    names = {row[1] for row in connection.execute("PRAGMA table_info(runs)")}
    assert "searcher" not in names
    assert connection.execute("SELECT max(version) FROM schema_version").fetchone() == (1,)
    connection.close()
