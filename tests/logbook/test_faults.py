"""Whatever the disk does, the user gets a sentence and keeps what was acknowledged."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import Connection, insert, inspect

from blindfield.logbook import schema
from blindfield.logbook.book import Logbook
from blindfield.logbook.database import Database
from blindfield.logbook.faults import told
from blindfield.logbook.migrations import STEPS, migrate
from blindfield.model.errors import LogbookError
from support.logbook_kit import KEY, note, run_id, strike, summary, with_open_run


def _pragma(book: Logbook, text: str) -> object:
    with book.database.reading() as connection:
        said = connection.exec_driver_sql(f"PRAGMA {text}")
        return said.scalar() if said.returns_rows else None


def test_a_locked_logbook_is_named_and_works_once_it_is_free(book: Logbook, path: Path) -> None:
    book.append(note(None, "before"))
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(LogbookError, match=rf"{path} is held by another program.*Close"):
        book.append(note(None, "during"))
    assert len(book.events_of(None)) == 1  # reading goes on
    other.execute("ROLLBACK")
    other.close()
    book.append(note(None, "after"))
    assert [event.data["text"] for event in book.events_of(None)] == ["before", "after"]


def test_the_wait_for_another_writer_is_bounded_by_the_caller(path: Path) -> None:
    with Logbook.open(path, field_key=KEY, busy_s=1.5) as book:
        assert _pragma(book, "busy_timeout") == 1500


def test_a_full_disk_acknowledges_nothing_and_loses_nothing(book: Logbook) -> None:
    run = with_open_run(book)
    book.append(strike(run, 0))
    pages = _pragma(book, "page_count")
    _pragma(book, f"max_page_count = {pages}")
    acknowledged = [0]

    def fill() -> None:
        for seq in range(1, 50):
            book.append(strike(run, seq))
            acknowledged.append(seq)

    with pytest.raises(LogbookError, match="no room left: the disk is full"):
        fill()
    kept = [event.device_key.seq for event in book.events_of(run) if event.device_key]
    assert kept == acknowledged
    _pragma(book, "max_page_count = 100000")
    book.append(strike(run, 99))
    book.close_run(run, summary(run))
    assert len(book.events_of(run)) == len(acknowledged) + 2


def test_a_close_that_cannot_be_written_leaves_the_run_open_and_sealed(book: Logbook) -> None:
    run = with_open_run(book)
    book.append_many([note(run, "x" * 900) for _ in range(30)])
    _pragma(book, "query_only = ON")
    with pytest.raises(LogbookError, match="cannot be written"):
        book.close_run(run, summary(run))
    assert [record.run_id for record in book.open_runs()] == [run]
    _pragma(book, "query_only = OFF")
    book.close_run(run, summary(run))
    assert book.check_commitment(run)


def test_a_read_only_logbook_is_said_to_be_one_and_still_read(book: Logbook, path: Path) -> None:
    book.append(note(None, "before"))
    _pragma(book, "query_only = ON")  # the engine then answers as on a read-only file
    with pytest.raises(LogbookError, match=rf"{path} cannot be written.*permissions"):
        book.append(note(None, "refused"))
    assert len(book.events_of(None)) == 1


def test_a_place_that_cannot_hold_a_logbook_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    for place in (tmp_path, tmp_path / "file" / "logbook.sqlite"):
        with pytest.raises(LogbookError, match=rf"{place} cannot be opened"):
            Logbook.open(place, field_key=KEY)
    with pytest.raises(LogbookError, match="no logbook at"):
        Logbook.open(tmp_path / "absent.sqlite", field_key=KEY, create=False)
    assert not (tmp_path / "absent.sqlite").exists()


@pytest.mark.parametrize(
    ("code", "sentence"),
    [
        (sqlite3.SQLITE_IOERR | 4 << 8, "the disk failed"),  # SQLITE_IOERR_FSYNC
        (sqlite3.SQLITE_CANTOPEN, "cannot be opened"),
        (sqlite3.SQLITE_MISUSE, "failed: engine says so.*report"),
    ],
)
def test_further_answers_of_the_engine(code: int, sentence: str) -> None:
    error = sqlite3.OperationalError("engine says so")
    error.sqlite_errorcode = code
    with pytest.raises(LogbookError, match=f"the logbook NAME .*{sentence}"), told("NAME"):
        raise error


def _filled(path: Path) -> None:
    with Logbook.open(path, field_key=KEY) as book:
        run = with_open_run(book)
        book.append_many([strike(run, seq) for seq in range(200)])
        book.close_run(run, summary(run))


def _overwrite(path: Path, start: int, count: int) -> None:
    with path.open("r+b") as file:
        file.seek(start)
        file.write(b"\xa5" * count)


@pytest.mark.parametrize("start", [0, 4096, 10 * 4096])
def test_damage_is_told_with_the_file_and_what_to_do(path: Path, start: int) -> None:
    _filled(path)
    _overwrite(path, start, 6 * 4096)

    def use() -> None:
        with Logbook.open(path, field_key=KEY) as book:
            book.events_of(run_id(1))
            book.check()

    with pytest.raises(LogbookError, match=rf"{path} is damaged") as caught:
        use()
    assert "on a copy" in caught.value.remedy


def test_check_finds_damage_that_reading_does_not_meet_and_passes_a_sound_file(path: Path) -> None:
    _filled(path)
    with Logbook.open(path, field_key=KEY) as book:
        book.check()
        last = int(str(_pragma(book, "page_count"))) - 1
    _overwrite(path, last * 4096, 4096)
    with Logbook.open(path, field_key=KEY) as book, pytest.raises(LogbookError, match="damaged"):
        book.check()


def test_other_files_are_refused_and_left_alone(path: Path) -> None:
    path.write_text("dear diary, " * 100)
    with pytest.raises(LogbookError, match="damaged"):
        Logbook.open(path, field_key=KEY)
    assert path.read_text().startswith("dear diary")
    path.unlink()
    foreign = sqlite3.connect(path)
    foreign.execute("CREATE TABLE events (id)")
    foreign.commit()
    foreign.close()
    with pytest.raises(LogbookError, match="a database, but not a logbook"):
        Logbook.open(path, field_key=KEY)


def test_a_logbook_of_a_newer_program_is_refused(path: Path) -> None:
    with Logbook.open(path, field_key=KEY) as book, book.database.writing() as connection:
        connection.execute(insert(schema.schema_version).values(version=len(STEPS) + 1))
    with pytest.raises(LogbookError, match=r"has version 3; this blindfield knows 2\..*update"):
        Logbook.open(path, field_key=KEY)


@pytest.fixture
def database(path: Path) -> Database:
    return Database(path, create=True, busy_s=0.05)


def test_migrations_make_the_tables_the_program_knows(database: Database) -> None:
    migrate(database)
    with database.reading() as connection:
        found = inspect(connection)
        for name, table in schema.metadata.tables.items():
            columns = {column["name"] for column in found.get_columns(name)}
            assert columns == {column.name for column in table.columns}
        assert set(found.get_table_names()) == set(schema.metadata.tables)
    database.close()


def _step(text: str) -> Callable[[Connection], None]:
    return lambda connection: connection.exec_driver_sql(text).close()


def test_steps_are_done_once_each_and_a_failing_one_changes_nothing(database: Database) -> None:
    add, bad = _step("CREATE TABLE extra (x)"), _step("CREATE TABLE extra (y)")
    migrate(database, [add])
    migrate(database, [add])
    with pytest.raises(LogbookError, match="failed"):
        migrate(database, [add, _step("CREATE TABLE more (z)"), bad])
    with database.reading() as connection:
        versions = connection.exec_driver_sql("SELECT version FROM schema_version").scalars().all()
        assert list(versions) == [1]
        assert not inspect(connection).has_table("more")
    migrate(database, [add, _step("CREATE TABLE more (z)")])
    with database.reading() as connection:
        assert inspect(connection).has_table("more")
    database.close()
