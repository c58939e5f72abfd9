"""Every figure that is kept can be made anew from the events, and what differs is named."""

from __future__ import annotations

import json

import pytest

from blindfield.logbook.book import Logbook
from blindfield.logbook.rebuild import Compared, compare_all
from blindfield.model.errors import LogbookError
from support.logbook_kit import UTC, run_id, with_open_run
from support.two_logbooks import add_run, as_told, said


def compared(book: Logbook, *, store: bool = False) -> list[Compared]:
    return list(compare_all(book, as_told, store=store))


def edit(book: Logbook, text: str, *values: object) -> None:
    with book.database.writing() as connection:
        connection.exec_driver_sql(text, values)


def test_what_is_kept_is_what_the_events_say(book: Logbook) -> None:
    for number in (1, 2, 3):
        add_run(book, number)
    with_open_run(book, 4)
    assert compared(book) == [Compared(run_id(number)) for number in (1, 2, 3)]


def test_what_was_said_since_is_named_and_stored_when_asked(book: Logbook) -> None:
    run = add_run(book, 1)
    add_run(book, 2)
    book.append(said(run, "void", 5))
    differs = ("outcome is 'met', by its events 'void'",)
    assert compared(book)[0].differs == differs
    assert compared(book, store=True)[0].differs == differs
    assert compared(book)[0].differs == ()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ("UPDATE runs SET drawn_utc = '2026-02-01T00:00:00.000000Z'", "drawn at is 2026-02-01"),
        ("UPDATE runs SET commitment = hex(randomblob(32))", "the commitment is not the one"),
        ("UPDATE runs SET salt = lower(hex(randomblob(32)))", "the salt is not the one"),
        ("UPDATE runs SET ended_utc = '2026-02-01T00:00:00.000000Z'", "ended at is 2026-02-01"),
        (
            "UPDATE events SET data = replace(data, '\"pair\"', '\"single\"')",
            "the problem is not the one that was committed to",
        ),
    ],
)
def test_a_run_edited_outside_is_named(book: Logbook, change: str, says: str) -> None:
    add_run(book, 1)
    edit(book, change)
    (found,) = compared(book)
    assert any(says in one for one in found.differs)


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE events SET data = '{' WHERE kind = 'run_drawn'",
        "UPDATE events SET kind = 'unheard_of' WHERE kind = 'run_drawn'",
        "UPDATE events SET utc = 'yesterday'",
        "DELETE FROM events",
    ],
)
def test_a_run_that_cannot_be_read_is_unknown_and_the_others_are_compared(
    book: Logbook, change: str
) -> None:
    add_run(book, 1)
    edit(book, change)
    add_run(book, 2)
    first, second = compared(book)
    assert first.unknown
    assert second == Compared(run_id(2))


def test_a_run_that_was_never_revealed_is_unknown(book: Logbook) -> None:
    book.abandon_run(with_open_run(book), ended_utc=UTC)
    assert compared(book) == [Compared(run_id(1), unknown="it was never revealed")]


def test_events_in_another_order_make_the_same_figures(book: Logbook) -> None:
    """The order of recording is that of the ids, whatever the file's own order is."""
    run = add_run(book, 1)
    before = book.events_of(run)
    edit(book, "PRAGMA reverse_unordered_selects = ON")
    assert book.events_of(run) == before
    assert compared(book)[0].differs == ()


def test_a_damaged_line_of_the_list_is_said_not_thrown(book: Logbook) -> None:
    add_run(book, 1)
    edit(book, "UPDATE runs SET flags = ?", "{")
    with pytest.raises(LogbookError, match="row 1 of the runs cannot be read"):
        book.runs()
    edit(book, "UPDATE runs SET flags = ?, find_run_s = ?", "[]", json.dumps([[2, 1, 0]]))
    with pytest.raises(LogbookError, match="row 1 of the runs cannot be read"):
        book.runs()
