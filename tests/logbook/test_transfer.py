"""Runs taken from one logbook into another: whole, once, in their order, and as they were."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from blindfield.logbook.book import Logbook
from blindfield.logbook.export import digest_of
from blindfield.model.errors import LogbookError
from support.logbook_kit import KEY, run_id, strike
from support.two_logbooks import (
    ARABIC,
    add_run,
    as_told,
    at,
    content,
    device_entry,
    exported,
    opened,
    said,
    take,
)


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Logbook]:
    with opened(tmp_path / "other.sqlite") as made:
        yield made


def edited(text: bytes, number: int, change: Any, *, sign: bool = False) -> bytes:
    """The file with one line changed by hand; `sign`: by somebody who makes a new digest."""
    lines = text.splitlines(keepends=True)
    values = json.loads(lines[number - 1])
    change(values["run"])
    if sign:
        values["digest"] = digest_of(values["run"])
    lines[number - 1] = json.dumps(values).encode() + b"\n"
    return b"".join(lines)


def test_what_was_exported_is_the_same_in_another_logbook(book: Logbook, other: Logbook) -> None:
    book.append_many([said(None, "snow", 0, change_m=0.2), device_entry(5)])
    for number, name in enumerate((ARABIC, "Ana", ""), 1):
        add_run(book, number, name)
    taken = take(other, exported(book))
    assert (taken.runs, taken.entries, taken.already_here, taken.refused) == (3, 2, 0, [])
    assert content(other) == content(book)
    assert other.events_of(None) == book.events_of(None)
    assert exported(other) == exported(book)
    assert all(other.check_commitment(run_id(number)) for number in (1, 2, 3))


def test_the_same_file_twice_changes_nothing(book: Logbook, other: Logbook) -> None:
    book.append_many([said(None, "snow", 0, change_m=0.2), device_entry(5)])
    book.append_many([said(None, "depth", 0, device=name, depth_m=1.0) for name in "ab"])
    add_run(book, 1)
    add_run(book, 2)
    text = exported(book)
    take(other, text)
    before = exported(other)
    again = take(other, text)
    assert (again.runs, again.entries, again.continued, again.already_here) == (0, 0, 0, 6)
    assert exported(other) == before
    assert take(book, text).already_here == 6  # nor where it was made


def test_corrections_speak_of_the_same_events_there(book: Logbook, other: Logbook) -> None:
    for number in (7, 8, 9):
        add_run(other, number)
    run = add_run(book, 1)
    felt = book.events_of(run)[1].id
    book.append(said(run, "correction", 9, event_id=felt, verdict="no_strike"))
    take(other, exported(book))
    there = other.events_of(run)
    assert there[-1].data["event_id"] == there[1].id != felt


def test_what_was_said_on_either_side_is_joined_and_the_result_follows(
    book: Logbook, other: Logbook
) -> None:
    run = add_run(book, 1)
    take(other, exported(book))
    book.append_to_closed(run, [said(run, "tick", 20, step="send")], as_told(book.find_run(None)))
    other.append_to_closed(run, [said(run, "void", 21)], as_told(other.find_run(None)))
    taken = take(book, exported(other))
    assert (taken.continued, taken.refused) == (1, [])
    assert [event.kind for event in book.events_of(run)[-2:]] == ["tick", "void"]
    summary = book.find_run(None).summary
    assert summary is not None
    assert summary.outcome == "void"
    assert take(book, exported(other)).already_here == 1
    take(other, exported(book))
    assert other.events_of(run)[:4] == book.events_of(run)[:4]
    assert {event.kind for event in other.events_of(run)[4:]} == {"tick", "void"}
    assert len(other.events_of(run)) == 6


def test_runs_come_in_the_order_they_were_drawn_and_each_logbooks_own_order_stays(
    book: Logbook, other: Logbook
) -> None:
    add_run(book, 1, minute=10)
    add_run(book, 2, minute=30)
    add_run(book, 3, minute=25)  # the clock was set back
    add_run(book, 4, minute=50)
    add_run(other, 5, minute=5)
    add_run(other, 6, minute=40)
    take(book, exported(other))
    order = [int.from_bytes(record.run_id[3:], "big") for record, _ in content(book)]
    assert order == [5, 1, 2, 3, 6, 4]
    add_run(book, 7, minute=2)
    assert book.find_run(None).run_id == run_id(7)


@pytest.mark.parametrize(
    "change",
    [
        lambda run: run["summary"].update(outcome="void"),
        lambda run: run["events"][0]["data"]["scenario"].update(kind="single"),
        lambda run: run["events"].pop(2),
    ],
)
def test_a_run_changed_by_hand_is_refused_and_the_rest_is_taken(
    book: Logbook, other: Logbook, change: Any
) -> None:
    for number in (1, 2, 3):
        add_run(book, number)
    taken = take(other, edited(exported(book), 3, change))
    assert taken.runs == 2
    (refused,) = taken.refused
    assert "line 3: run oj2w4aaaaaaae was changed since it was exported" in refused
    assert [record.run_id for record, _ in content(other)] == [run_id(1), run_id(3)]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (
            lambda run: run["events"][0]["data"]["scenario"].update(kind="single"),
            "not the problem that was committed to",
        ),
        (lambda run: run.update(commitment="00" * 32), "not the problem that was committed to"),
        (lambda run: run["events"].pop(0), "damaged"),
        (lambda run: run["events"][1].update(run_id="aaaaaaaaaaaaa"), "damaged"),
        (lambda run: run["events"][2].update(kind="unheard_of"), "newer blindfield"),
        (lambda run: run["summary"].update(outcome="splendid"), "damaged"),
        (lambda run: run["summary"].pop("sent"), "damaged"),
    ],
)
def test_nor_does_a_new_digest_help(book: Logbook, other: Logbook, change: Any, says: str) -> None:
    add_run(book, 1)
    add_run(book, 2)
    taken = take(other, edited(exported(book), 2, change, sign=True))
    assert taken.runs == 1
    assert len(taken.refused) == 1
    assert taken.refused[0].startswith("line 2: ")
    assert says in taken.refused[0]


@pytest.mark.parametrize("junk", [b"{", b"\xff\xfe\x00", b"[]", b'"run"', b"7", b'{"run": 7}'])
def test_a_damaged_line_is_named_with_its_number(
    book: Logbook, other: Logbook, junk: bytes
) -> None:
    add_run(book, 1)
    add_run(book, 2)
    lines = exported(book).splitlines()
    taken = take(other, b"\n".join([lines[0], lines[1], junk, b"", lines[2]]))
    assert taken.runs == 2
    assert len(taken.refused) == 1
    assert taken.refused[0].startswith("line 3: it is damaged")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (b"", "no exported logbook"),
        (b"a diary\n", "no exported logbook"),
        (b'{"format":"something"}\n', "no exported logbook"),
        (b'{"format":"blindfield logbook","version":2}\n', "version 2.*update this one"),
    ],
)
def test_other_files_and_newer_ones_are_refused_whole(
    book: Logbook, other: Logbook, text: bytes, says: str
) -> None:
    add_run(book, 1)
    with pytest.raises(LogbookError, match=says):
        take(other, text + b"".join(exported(book).splitlines(keepends=True)[1:]))
    assert other.runs() == []


def test_a_run_that_is_here_otherwise_is_left_as_it_is(book: Logbook, other: Logbook) -> None:
    add_run(book, 1, "Ana")
    add_run(other, 1, "Bo")
    before = exported(other)
    taken = take(other, exported(book))
    assert "is here already and is not the same" in taken.refused[0]
    assert exported(other) == before


def test_a_record_fetched_here_after_a_run_conducted_elsewhere_joins_that_run(
    book: Logbook, other: Logbook
) -> None:
    run = add_run(book, 1)
    other.append(strike(None, 1))
    take(other, exported(book))
    assert other.events_of(None) == []
    assert other.events_of(run) == book.events_of(run)


def test_a_record_that_is_in_another_run_here_is_refused(book: Logbook, other: Logbook) -> None:
    add_run(book, 1)
    run = add_run(other, 2)
    with other.database.writing() as connection:
        connection.exec_driver_sql("UPDATE events SET seq = 1 WHERE seq = 2")
    before = content(other)
    taken = take(other, exported(book))
    assert "is here in run oj2w4aaaaaaae" in taken.refused[0]
    assert content(other) == before
    assert run == run_id(2)


def test_nothing_is_taken_while_a_run_is_open(book: Logbook, other: Logbook) -> None:
    add_run(book, 1)
    add_run(other, 2, close=False)
    with pytest.raises(LogbookError, match="while a run is open"):
        take(other, exported(book))
    assert len(other.runs()) == 1


def test_when_the_file_cannot_be_read_to_its_end_nothing_is_taken(
    book: Logbook, other: Logbook
) -> None:
    add_run(book, 1)

    def breaks_off() -> Iterator[bytes]:
        yield from exported(book).splitlines(keepends=True)
        raise OSError(5, "the stick was pulled")

    with pytest.raises(LogbookError):
        take(other, breaks_off())
    assert other.runs() == []


def test_the_field_key_is_not_needed(book: Logbook, tmp_path: Path) -> None:
    add_run(book, 1)
    with Logbook.open(tmp_path / "third.sqlite", field_key=None) as third:
        assert take(third, exported(book)).runs == 1
        assert third.find_run(None).drawn_utc == at(1)
    assert KEY not in exported(book)
