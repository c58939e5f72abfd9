"""A backup is one sound file, made while the logbook is in use; damage costs what it hit alone."""

from __future__ import annotations

import sqlite3
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from blindfield.logbook import backup
from blindfield.logbook.backup import back_up
from blindfield.logbook.book import Logbook
from blindfield.logbook.rescue import Saved, rescued_lines
from blindfield.model.errors import ConfigError, LogbookError
from support.logbook_kit import KEY, note, strike, summary, with_open_run
from support.two_logbooks import add_run, at, content, exported, opened, said, take


@pytest.fixture
def target(tmp_path: Path) -> Path:
    folder = tmp_path / "stick"
    folder.mkdir()
    return folder / "backup.sqlite"


def test_the_copy_is_one_file_and_holds_everything(book: Logbook, target: Path) -> None:
    for number in (1, 2, 3):
        add_run(book, number)
    book.append(note(None, "outside"))
    assert back_up(book, target) == 3
    assert [one.name for one in target.parent.iterdir()] == ["backup.sqlite"]
    with opened(target) as copy:
        assert content(copy) == content(book)
        assert copy.events_of(None) == book.events_of(None)


def test_it_is_made_while_another_records_and_an_open_run_stays_sealed(
    book: Logbook, path: Path, target: Path
) -> None:
    run = with_open_run(book)
    stop, acknowledged = threading.Event(), []
    with Logbook.open(path, field_key=KEY) as recorder:

        def record() -> None:
            while not stop.is_set():
                acknowledged.append(recorder.append(strike(run, len(acknowledged))))

        thread = threading.Thread(target=record)
        thread.start()
        for _ in range(3):
            while len(acknowledged) < 5:
                pass
            before = len(acknowledged)
            back_up(book, target)
            with opened(target) as copy:
                assert len(copy.events_of(run)) > before
                assert len(copy.open_runs()) == 1
        stop.set()
        thread.join()
    assert b"anvil" not in target.read_bytes()


def test_an_older_backup_is_replaced_and_nothing_else(
    book: Logbook, path: Path, target: Path, tmp_path: Path
) -> None:
    add_run(book, 1)
    back_up(book, target)
    add_run(book, 2)
    assert back_up(book, target) == 2
    foreign = tmp_path / "foreign.sqlite"
    with opened(foreign) as other:
        add_run(other, 9)
    diary = tmp_path / "diary.txt"
    diary.write_text("dear diary")
    for one in (foreign, diary):
        before = one.read_bytes()
        with pytest.raises(ConfigError, match="no older backup of this logbook"):
            back_up(book, one)
        assert one.read_bytes() == before
    with pytest.raises(ConfigError, match="is the logbook itself"):
        back_up(book, path)


def test_a_backup_somebody_works_in_is_not_replaced(book: Logbook, target: Path) -> None:
    add_run(book, 1)
    back_up(book, target)
    with opened(target) as copy:
        copy.append(note(None, "said here"))
        with pytest.raises(ConfigError, match="is in use"):
            back_up(book, target)


def test_a_copy_that_fails_leaves_the_one_before(
    book: Logbook, target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    add_run(book, 1)
    back_up(book, target)
    before = target.read_bytes()
    add_run(book, 2)

    def full(_path: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backup, "_synchronise", full)
    with pytest.raises(LogbookError, match=r"could not be made.*No space left"):
        back_up(book, target)
    assert target.read_bytes() == before
    assert [one.name for one in target.parent.iterdir()] == ["backup.sqlite"]
    with pytest.raises(LogbookError, match="could not be made"):
        back_up(book, target.parent / "no" / "backup.sqlite")


def filled(path: Path, count: int = 40) -> bytes:
    """Many runs in one closed file; its export."""
    with opened(path) as book:
        for number in range(1, count + 1):
            add_run(book, number, "Ana")
            book.append(said(None, "depth", number, device=f"t{number}", depth_m=1.0))
        long = add_run(book, 900, close=False)
        book.append_many([strike(long, 1000 + number) for number in range(80)])
        book.append(replace(book.events_of(long)[3], utc=at(950)))
        book.close_run(long, summary(long))
        return exported(book)


def rescued(path: Path) -> tuple[bytes, Saved]:
    saved = Saved()
    return "".join(rescued_lines(path, saved)).encode(), saved


def test_of_a_sound_file_everything_is_read(path: Path) -> None:
    text = filled(path)
    found, saved = rescued(path)
    assert found == text
    assert (saved.runs, saved.entries, saved.incomplete, saved.lost) == (41, 40, [], [])


def spoil(path: Path, page: int) -> None:
    with path.open("r+b") as file:
        file.seek((page - 1) * 4096)
        file.write(b"\xa5" * 4096)
    path.with_name(path.name + "-wal").unlink(missing_ok=True)


def leaves(path: Path, kind: int = 0x0D) -> list[int]:
    """Pages whose first byte says: a leaf of a table, or with 0x0A of an index (SQLite file
    format, section 1.6)."""
    held = path.read_bytes()
    return [n // 4096 + 1 for n in range(4096, len(held), 4096) if held[n] == kind]


def test_a_damaged_page_costs_what_lay_on_it_and_the_rest_can_be_taken_in(
    path: Path, tmp_path: Path
) -> None:
    text = filled(path)
    whole = set(text.splitlines())
    sound = path.read_bytes()
    hit = 0
    for page in leaves(path)[1::3]:
        path.write_bytes(sound)
        spoil(path, page)
        found, saved = rescued(path)
        lines = found.splitlines()
        if found == text:
            continue  # a page of another table, or a free one
        assert saved.lost
        assert saved.runs + len(saved.incomplete) > 20
        # What is called whole is what was there, word for word.
        complete = [line for line in lines if b'"incomplete":true' not in line]
        assert set(complete) <= whole
        assert len(complete) == 1 + saved.runs + saved.entries
        hit += 1
        with opened(tmp_path / f"new{page}.sqlite") as new:
            taken = take(new, found)
            assert (taken.refused, len(taken.incomplete)) == ([], len(saved.incomplete))
            assert taken.runs == saved.runs + len(saved.incomplete)
    assert hit > 5


def test_without_the_index_a_run_that_may_lack_events_is_not_called_whole(path: Path) -> None:
    text = filled(path)
    whole = set(text.splitlines())
    for page in leaves(path, 0x0A):
        spoil(path, page)
    assert rescued(path)[0] == text  # the index alone costs nothing
    sound, hit = path.read_bytes(), 0
    for page in leaves(path)[1::3]:
        path.write_bytes(sound)
        spoil(path, page)
        found, saved = rescued(path)
        complete = [line for line in found.splitlines() if b'"incomplete":true' not in line]
        assert set(complete) <= whole
        hit += bool(saved.incomplete)
    assert hit > 5


def test_nothing_of_an_open_run_is_saved(path: Path) -> None:
    filled(path, 3)
    with opened(path) as book:
        add_run(book, 9, "Secret Searcher", close=False)
    found, saved = rescued(path)
    assert found.count(b'{"digest"') == 7
    assert saved.runs == 4
    assert b"Secret" not in found


def test_of_a_file_that_is_none_nothing_is_read(path: Path) -> None:
    path.write_text("dear diary, " * 1000)
    with pytest.raises(LogbookError, match=r"damaged|nothing can be read"):
        rescued(path)


def test_a_counter_that_is_damaged_costs_no_hour(path: Path) -> None:
    text = filled(path, 3)
    with sqlite3.connect(path) as file:
        file.execute("UPDATE sqlite_sequence SET seq = 1000000000000000")
    file.close()
    assert rescued(path)[0] == text
