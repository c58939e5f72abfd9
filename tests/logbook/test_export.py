"""What leaves the logbook: JSON Lines for other programs, CSV for spreadsheets."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from blindfield.logbook.book import Logbook
from blindfield.logbook.export import export_lines
from blindfield.logbook.table import table_lines
from blindfield.logbook.whole_file import write_lines
from blindfield.model.errors import ConfigError, LogbookError
from blindfield.model.span import Span
from support.logbook_kit import note, run_id
from support.two_logbooks import ARABIC, CHINESE, GREEK, add_run, at, exported, said


def lines_of(book: Logbook) -> list[dict[str, Any]]:
    return [json.loads(line) for line in export_lines(book)]


def table(book: Logbook) -> list[dict[str, str]]:
    text = "".join(table_lines(book)).encode().decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text)))


def test_a_line_says_what_it_is_then_each_run_then_each_entry(book: Logbook) -> None:
    book.append(said(None, "snow", 0, change_m=0.2, author="Olga"))
    add_run(book, 1, ARABIC)
    add_run(book, 2, field_name="lower meadow")
    head, first, second, entry = lines_of(book)
    assert head == {"format": "blindfield logbook", "version": 1}
    assert (first["run"]["summary"]["searcher"], first["run"]["summary"]["outcome"]) == (
        ARABIC,
        "met",
    )
    assert second["run"]["summary"]["field_name"] == "lower meadow"
    assert [event["id"] for event in first["run"]["events"]] == [1, 2, 3, 4]
    assert entry["entry"]["data"] == {"change_m": 0.2, "author": "Olga"}
    assert ARABIC.encode() in exported(book)  # readable by people too


def test_each_line_carries_the_digest_of_its_sorted_json(book: Logbook) -> None:
    add_run(book, 1, "Łucja")
    line = lines_of(book)[1]
    text = json.dumps(line["run"], sort_keys=True, separators=(",", ":"))
    assert line["digest"] == hashlib.sha256(text.encode()).hexdigest()


def test_nothing_of_an_open_run_leaves(book: Logbook) -> None:
    add_run(book, 1, "Ana")
    before, table_before = exported(book), table(book)
    add_run(book, 2, "Secret Searcher", close=False)
    book.append(note(None, "beside the open run"))
    assert exported(book) == before
    assert table(book) == table_before


def test_a_correction_speaks_of_the_event_by_its_number_in_the_run(book: Logbook) -> None:
    add_run(book, 1)
    run = add_run(book, 2)
    felt = book.events_of(run)[1].id
    book.append(said(run, "correction", 9, event_id=felt, verdict="no_strike"))
    assert lines_of(book)[2]["run"]["events"][-1]["data"]["event_id"] == 2


def test_a_run_that_cannot_be_read_is_named_and_the_rest_leaves(book: Logbook) -> None:
    add_run(book, 1)
    add_run(book, 2)
    with book.database.writing() as connection:
        connection.exec_driver_sql(
            "UPDATE events SET data = '{' WHERE kind = 'tick' AND run_id = ?", (run_id(1),)
        )
    left_out: list[str] = []
    lines = [json.loads(line) for line in export_lines(book, left_out)]
    assert [line["run"]["drawn_utc"] for line in lines[1:]] == [at(2)]
    assert len(left_out) == 1
    assert left_out[0].startswith("run oj2w4aaaaaaac: event 3 cannot be read")
    with pytest.raises(LogbookError, match="event 3 cannot be read"):
        list(export_lines(book))


def test_the_table_has_a_line_a_run(book: Logbook) -> None:
    add_run(book, 1, CHINESE, time_limit_s=630.0)
    add_run(book, 2, outcome="stopped", find_run_s=(Span(99.95, 99.99, 100.1),), flags=())
    first, second = table(book)
    assert (first["searcher"], first["drawn_utc"], first["time_limit_s"]) == (CHINESE, at(1), "630")
    assert (first["find_1_s"], first["find_2_s"], first["found"]) == ("61.5", "260.0", "2")
    # As sport timing does: to the last digit shown, never up.
    assert (second["find_1_s"], second["find_2_s"], second["outcome"]) == ("99.9", "", "stopped")


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("=HYPERLINK(1)", "'=HYPERLINK(1)"),
        ("+1", "'+1"),
        ("-1", "'-1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\t=1", "'=1"),
        ("＝1", "'＝1"),
        ('a,"b"\r\nc', 'a,"b" c'),
        ("A=1", "A=1"),
        (GREEK, GREEK),
    ],
)
def test_a_spreadsheet_takes_no_name_for_a_formula(book: Logbook, name: str, shown: str) -> None:
    add_run(book, 1, name, standard=name, field_name=name, flags=(name,), start_point=name)
    (row,) = table(book)
    cells = [row[one] for one in ("searcher", "standard", "field", "flags", "start_point")]
    assert cells == [shown] * 5


def test_an_empty_logbook_leaves_as_its_heads(book: Logbook) -> None:
    assert len(lines_of(book)) == 1
    assert table(book) == []


def test_a_file_is_there_whole_or_not_at_all(tmp_path: Path) -> None:
    path = tmp_path / "out.jsonl"

    def breaks_off() -> Iterator[str]:
        yield "mark\n"
        raise LogbookError("the disk failed")

    with pytest.raises(LogbookError, match="disk failed"):
        write_lines(path, breaks_off(), mark="mark", kind="export")
    assert list(tmp_path.iterdir()) == []
    assert write_lines(path, ["mark\n", "two\n"], mark="mark", kind="export") == 2
    assert write_lines(path, ["mark\n"], mark="mark", kind="export") == 1
    assert path.read_text() == "mark\n"
    path.write_text("a diary")
    with pytest.raises(ConfigError, match="no export of ours"):
        write_lines(path, ["mark\n"], mark="mark", kind="export")
    assert path.read_text() == "a diary"
    with pytest.raises(ConfigError, match="cannot be written"):
        write_lines(tmp_path / "no" / "out.jsonl", ["mark\n"], mark="mark", kind="export")
