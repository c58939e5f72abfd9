"""The short questions about what was."""

from __future__ import annotations

from pathlib import Path

import pytest

from blindfield.logbook import past
from blindfield.logbook.book import Logbook
from blindfield.model.events import DeviceKey, Event
from support.logbook_kit import EPOCH, UTC, run_id, summary, with_open_run


def entry(kind: str, **data: object) -> Event:
    return Event(kind=kind, source="person", host_epoch=EPOCH, utc=UTC, data=dict(data))


def lifted(device: bytes, seq: int, run: bytes | None = None) -> Event:
    return Event(
        kind="dug_out",
        source="device",
        host_epoch=EPOCH,
        utc=UTC,
        run_id=run,
        device_key=DeviceKey(device, 1, seq),
        data={"device": device.decode()},
    )


def closed(book: Logbook, number: int, **changes: object) -> None:
    run = with_open_run(book, number)
    book.close_run(run, summary(run, **changes))


def test_runs_come_latest_first_and_each_searcher_has_their_own(book: Logbook) -> None:
    closed(book, 1, searcher="Vera", sent=("2", "5"), start_point="hut peg", scenario_kind="pair")
    closed(book, 2, searcher="Вера", scenario_kind="single", sent=("1",))
    closed(book, 3, searcher="Vera", knows_places=True, outcome="not_met", work="search and dig")
    last, first = book.past.runs_of("Vera")
    assert (first.kind, first.sent, first.start_point) == ("pair", frozenset("25"), "hut peg")
    assert (last.knows_places, last.outcome, last.work) == (True, "not_met", "search and dig")
    assert [row.kind for row in book.past.runs_of("Вера")] == ["single"]
    assert book.past.runs_of("") == []


def test_runs_that_are_open_or_never_started_do_not_count(book: Logbook) -> None:
    closed(book, 1, searcher="Vera", started_utc=None, outcome="interrupted")
    with_open_run(book, 2)
    assert book.past.runs_of("Vera") == []
    assert book.past.runs_of("") == []


def test_the_summary_keeps_the_new_columns(book: Logbook) -> None:
    made = summary(
        run_id(1), searcher="Vera", knows_places=True, sent=("1", "2"), start_point="s",
        work="search and dig",
    )  # fmt: skip
    run = with_open_run(book, 1)
    book.close_run(run, made)
    assert book.find_run(None).summary == made


def test_entries_of_people_come_in_order_with_the_last_lift_of_each_device(book: Logbook) -> None:
    run = with_open_run(book, 1)
    book.append_many([lifted(b"target-1", 1, run), lifted(b"target-2", 1, run)])
    book.close_run(run, summary(run))
    book.append_many([entry("state", device="target-1", state="put back"), entry("note", text="x")])
    book.append_many([lifted(b"target-2", 2), entry("snow", change_m=0.2)])
    found = [(event.kind, event.data.get("device")) for event in book.past.of_the_field()]
    assert found == [
        ("dug_out", "target-1"),
        ("state", "target-1"),
        ("dug_out", "target-2"),
        ("snow", None),
    ]


def test_nothing_of_an_open_run_is_among_them(book: Logbook) -> None:
    book.append(entry("snow", change_m=0.1))
    run = with_open_run(book, 1)
    book.append_many([lifted(b"target-1", 1, run), entry("state", device="target-1")])
    assert [event.kind for event in book.past.of_the_field()] == ["snow"]
    book.close_run(run, summary(run))
    assert len(book.past.of_the_field()) == 3


def test_no_key_is_needed(book: Logbook, path: Path) -> None:
    closed(book, 1, searcher="Vera")
    with Logbook.open(path, field_key=None) as other:
        assert len(other.past.runs_of("Vera")) == 1


def test_only_the_last_runs_are_looked_at(book: Logbook, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(past, "MOST_RUNS", 2)
    for number, kind in enumerate(("single", "pair", "three")):
        closed(book, number, searcher="Vera", scenario_kind=kind)
    closed(book, 9, searcher="Ida")
    assert [row.kind for row in book.past.runs_of("Vera")] == ["three", "pair"]
