"""A person's name is taken out of the logbook: rows, free pages and the log beside it."""

from __future__ import annotations

import json
import unicodedata
from pathlib import Path

import pytest

from blindfield.logbook.book import Logbook
from blindfield.logbook.people import REMOVED, Forgotten, forget, people
from blindfield.model.errors import LogbookError
from blindfield.model.events import Event
from support.logbook_kit import EPOCH, UTC, run_id, strike
from support.two_logbooks import (
    ARABIC,
    CHINESE,
    GREEK,
    add_run,
    at,
    exported,
    opened,
    said,
    take,
)

NAME = "Zbyněk Quöll"


def on_disk(path: Path) -> bytes:
    """Every byte of the logbook and of what lies beside it."""
    return b"".join(one.read_bytes() for one in path.parent.glob(path.name + "*"))


def spellings(name: str) -> list[bytes]:
    """How a name may stand in the file: as text, and as JSON escapes it."""
    words = [name, *name.split()]
    forms = [unicodedata.normalize(form, word) for word in words for form in ("NFC", "NFD")]
    return [one for word in forms for one in (word.encode(), json.dumps(word)[1:-1].encode())]


def left_of(path: Path, name: str) -> list[bytes]:
    held = on_disk(path)
    return [one for one in spellings(name) if one in held]


def fill(book: Logbook, name: str) -> None:
    """The name stands wherever one can."""
    add_run(book, 1, name)
    add_run(book, 2, "Ana")
    later = [
        said(run_id(2), "tick", 3, step="probe", author=name, note=f"seen by {name}!"),
        said(run_id(2), "correction", 3, reason=f"{name} says so", author="Ana"),
        said(run_id(2), "note", 3, text=f"({name.upper()}), with Ana", author="Ana"),
        said(None, "placed", 3, device="anvil", x_m=1.0, author=name),
        said(None, "depth", 3, device="anvil", author=unicodedata.normalize("NFD", name)),
        said(None, "receive_range", 4, searcher=name, transceiver="red"),
    ]  # fmt: skip
    book.append_many(later)
    book.facts.put("field", "upper meadow", "walked", {"searcher": name, "mean_m": 40}, utc=UTC)


@pytest.mark.parametrize("name", [NAME, ARABIC, CHINESE, GREEK, "D'Arcy-Öz", "李 雷", "🎿 Ski"])
def test_nothing_of_the_name_is_left_in_any_byte(book: Logbook, path: Path, name: str) -> None:
    fill(book, name)
    assert left_of(path, name)  # the trial can find it
    done = forget(book, name)
    assert left_of(path, name) == []
    assert (done.runs, done.unproven, done.sealed, done.overwritten) == (1, 1, 0, True)
    book.close()
    assert left_of(path, name) == []


def test_nor_in_what_was_deleted_before(book: Logbook, path: Path) -> None:
    """What SQLite no longer uses still lies in the file until it is written anew."""
    add_run(book, 1, NAME)
    book.append(said(None, "note", 1, text=NAME * 400, author=NAME))
    with book.database.writing() as connection:
        connection.exec_driver_sql("PRAGMA secure_delete = OFF")  # some builds have it on
        connection.exec_driver_sql("DELETE FROM events WHERE kind = 'note'")
    forget(book, NAME)
    assert left_of(path, NAME) == []


def test_what_else_is_told_stays(book: Logbook) -> None:
    fill(book, NAME)
    done = forget(book, NAME)
    assert done == Forgotten(runs=1, entries=8, unproven=1, sealed=0, overwritten=True)
    summaries = [record.summary for record in book.runs()]
    assert [one.searcher for one in summaries if one] == ["Ana", REMOVED]
    drawn = book.events_of(run_id(1))[0].data["scenario"]
    assert drawn["searcher"] == REMOVED
    assert drawn["why"] == [f"{REMOVED} knows where the targets lie: kept apart."]
    tick, correction, noted = (event.data for event in book.events_of(run_id(2))[-3:])
    assert (tick["author"], tick["note"]) == (REMOVED, f"seen by {REMOVED}!")
    assert (correction["reason"], correction["author"]) == (f"{REMOVED} says so", "Ana")
    assert noted["text"] == f"({REMOVED}), with Ana"
    placed, depth, walked = (event.data for event in book.events_of(None))
    assert (placed["author"], placed["x_m"], depth["author"]) == (REMOVED, 1.0, REMOVED)
    assert (walked["searcher"], walked["transceiver"]) == (REMOVED, "red")
    assert book.facts.of("field", "upper meadow") == {"walked": {"searcher": REMOVED, "mean_m": 40}}


def test_the_proof_of_their_runs_goes_with_the_name_and_the_run_says_so(book: Logbook) -> None:
    """A commitment that could still be opened would betray the name to whoever guesses it."""
    fill(book, NAME)
    salt = book.events_of(run_id(1))[0].data["salt"]
    assert book.check_commitment(run_id(1))
    forget(book, NAME)
    with pytest.raises(LogbookError, match="was removed with a name"):
        book.check_commitment(run_id(1))
    assert salt not in exported(book).decode()
    assert book.find_run("oj2w4aaaaaaac").salt is None
    assert book.check_commitment(run_id(2))


def test_such_a_run_can_be_handed_on_and_an_older_file_does_not_bring_the_name_back(
    book: Logbook, tmp_path: Path
) -> None:
    fill(book, NAME)
    older = exported(book)
    forget(book, NAME)
    taken = take(book, older)
    assert [one[:7] for one in taken.refused] == ["line 2:"]
    assert (taken.runs, taken.entries, taken.continued) == (0, 0, 0)
    assert NAME not in exported(book).decode()
    with opened(tmp_path / "other.sqlite") as other:
        assert take(other, exported(book)).runs == 2
        with pytest.raises(LogbookError, match="was removed with a name"):
            other.check_commitment(run_id(1))


@pytest.mark.parametrize(
    ("name", "text", "without"),
    [
        ("Al", "Also Al, Halal", f"Also {REMOVED}, Halal"),
        ("ana", "Ana found it", f"{REMOVED} found it"),
        ("José", "Jose\u0301's strip", f"{REMOVED}'s strip"),
        ("李雷", "李雷停止了", f"{REMOVED}停止了"),
        ("WEISS", "seen by Weiß", REMOVED),  # the whole text: letters do not match one by one
        ("Ana  Bo", "ana\tbo did", f"{REMOVED} did"),
        ("a.b", "axb and a.b", f"axb and {REMOVED}"),
    ],
)
def test_a_name_in_free_text_is_found_as_people_write_it(
    book: Logbook, name: str, text: str, without: str
) -> None:
    book.append(said(None, "note", 1, text=text, author=name))
    forget(book, name)
    assert book.events_of(None)[0].data == {"text": without, "author": REMOVED}


def test_a_target_of_the_same_name_keeps_it(book: Logbook) -> None:
    add_run(book, 1, "anvil")
    forget(book, "Anvil")
    assert book.events_of(run_id(1))[1].data["device"] == "anvil"


@pytest.mark.parametrize("name", ["Nobody Such", "", "  ", REMOVED, "Obs", "anvil"])
def test_a_name_that_nobody_has_changes_nothing(book: Logbook, name: str) -> None:
    add_run(book, 1, "Ana")
    before = exported(book)
    with pytest.raises(LogbookError, match="nobody"):
        forget(book, name)
    assert exported(book) == before


def test_nobody_is_removed_while_a_run_is_open(book: Logbook) -> None:
    add_run(book, 1, "Ana")
    add_run(book, 2, "Ana", close=False)
    with pytest.raises(LogbookError, match="while a run is open"):
        forget(book, "Ana")
    record = book.find_run("oj2w4aaaaaaac")
    assert record.summary is not None
    assert record.summary.searcher == "Ana"


def test_a_logbook_held_by_another_program_is_not_called_clean(book: Logbook, path: Path) -> None:
    fill(book, NAME)
    with opened(path) as reader, reader.database.reading() as connection:
        connection.exec_driver_sql("SELECT count(*) FROM events").fetchall()
        assert not forget(book, NAME).overwritten
    # The second try finds nobody, and cleans all the same.
    with pytest.raises(LogbookError, match="nobody"):
        forget(book, NAME)
    assert left_of(path, NAME) == []


def test_rows_of_a_run_that_was_never_revealed(book: Logbook, path: Path) -> None:
    """With their key they are read and the name removed; without it they are counted."""
    add_run(book, 2, NAME)
    run = add_run(book, 1, NAME, close=False)
    book.abandon_run(run, ended_utc=UTC)
    with Logbook.open(path, field_key=None) as without:
        assert forget(without, NAME).sealed == 4
    assert book.events_of(run)[0].data["scenario"]["searcher"] == NAME
    done = forget(book, NAME)
    assert (done.sealed, done.unproven) == (0, 1)
    assert book.events_of(run)[0].data["scenario"]["searcher"] == REMOVED


def test_everybody_is_listed_with_what_they_did(book: Logbook) -> None:
    fill(book, NAME)
    add_run(book, 5, "ana", minute=30)
    rows = {one.name: one for one in people(book)}
    ana, olga, other = rows.pop("ana"), rows.pop("Observer Olga"), rows.popitem()[1]
    assert rows == {}
    assert (ana.searched, ana.entries, ana.last_utc) == (2, 2, at(30))
    assert (olga.searched, olga.entries, olga.last_utc) == (0, 3, at(30))
    assert (other.searched, other.entries, other.transceivers) == (1, 4, ("red",))
    assert people(book)[-1] == other  # who was named last comes first


def test_an_open_run_names_nobody(book: Logbook) -> None:
    add_run(book, 1, "Ana", close=False)
    book.append(strike(None, 9))
    book.append(
        Event(kind="note", source="person", host_epoch=EPOCH, utc=UTC, data={"author": "Bo"})
    )
    assert people(book) == []
