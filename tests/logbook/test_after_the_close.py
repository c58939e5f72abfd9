"""What people say of a run after its close is kept together with the result that follows."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from blindfield.logbook.book import Logbook
from blindfield.model.errors import LogbookError
from blindfield.model.events import Event
from blindfield.model.run_summary import RunSummary
from support.logbook_kit import EPOCH, KEY, UTC, note, run_id, strike, summary, with_open_run


def said(run: bytes, kind: str = "void", **data: object) -> Event:
    return Event(
        kind=kind, source="person", host_epoch=EPOCH, utc=UTC, run_id=run, data={**data}
    )  # fmt: skip


def summarise(events: Sequence[Event]) -> RunSummary:
    run = events[0].run_id
    assert run is not None
    void = any(event.kind == "void" for event in events)
    return summary(run, outcome="void" if void else "met")


@pytest.fixture
def run(book: Logbook) -> bytes:
    made = with_open_run(book)
    book.append(strike(made, 1))
    book.close_run(made, summary(made))
    return made


def test_the_entry_and_the_new_summary_are_kept_together(book: Logbook, run: bytes) -> None:
    made = book.append_to_closed(run, [said(run, reason="a stray dog")], summarise)
    assert not made.agrees
    assert (made.stored, made.computed) == (summary(run), summary(run, outcome="void"))
    assert book.find_run(None).summary == made.computed
    assert book.events_of(run)[-1] == said(run, reason="a stray dog")
    assert book.rebuild(run, summarise).agrees


def test_all_that_is_said_at_once_counts(book: Logbook, run: bytes) -> None:
    ticks = [said(run, "tick", step="probe"), note(run, "windy"), said(run, "correction")]
    assert book.append_to_closed(run, ticks, summarise).agrees
    assert book.events_of(run)[-3:] == ticks


def test_when_the_summary_cannot_be_made_nothing_is_kept(book: Logbook, run: bytes) -> None:
    def fails(events: Sequence[Event]) -> RunSummary:
        raise LogbookError("the problem cannot be read.")

    before = book.events_of(run)
    with pytest.raises(LogbookError, match="cannot be read"):
        book.append_to_closed(run, [said(run)], fails)
    with pytest.raises(ValueError, match="another run"):
        book.append_to_closed(run, [said(run)], lambda events: summary(run_id(9)))
    assert book.events_of(run) == before
    assert book.find_run(None).summary == summary(run)


def test_only_later_kinds_of_the_same_run(book: Logbook, run: bytes) -> None:
    for event in (strike(run, 2), said(run_id(2)), said(run, "stop")):
        with pytest.raises(ValueError, match="only of this run"):
            book.append_to_closed(run, [event], summarise)
    assert len(book.events_of(run)) == 2


def test_neither_an_open_run_nor_one_beside_it_nor_one_never_made(
    book: Logbook, run: bytes, path: Path
) -> None:
    with pytest.raises(LogbookError, match="never drawn"):
        book.append_to_closed(run_id(5), [said(run_id(5))], summarise)
    other = with_open_run(book, 2)
    for one in (run, other):
        with pytest.raises(LogbookError, match=r"while a run is open.*blindfield devices"):
            book.append_to_closed(one, [said(one)], summarise)
    assert len(book.events_of(run)) == 2
    with Logbook.open(path, field_key=KEY) as again:
        assert len(again.events_of(other)) == 1


def test_the_key_is_not_needed(book: Logbook, run: bytes, path: Path) -> None:
    with Logbook.open(path, field_key=None) as without:
        without.append_to_closed(run, [said(run)], summarise)
    record = book.find_run(None)
    assert record.summary is not None
    assert record.summary.outcome == "void"
