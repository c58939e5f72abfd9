"""What is worked out of runs and kept: used, told where it is missing, never stale."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from blindfield.console import progress
from blindfield.console.own_figures import READ, figures_that_differ
from blindfield.logbook.book import Logbook
from blindfield.logbook.figures import Figures
from blindfield.model.events import Event
from blindfield.scoring.standards import shipped
from support import runs
from support.many_runs import fill
from support.practised import Practised, field_in


@pytest.fixture
def bench(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Practised:
    return Practised(tmp_path, capsys)


def told(bench: Practised, *words: str) -> str:
    """What the screen says, in one line."""
    status, out, error = bench.command(progress, *words)
    assert (status, error) == (0, "")
    return " ".join(out.split())


def data(bench: Practised, *words: str) -> dict[str, Any]:
    status, out, error = bench.command(progress, "--json", *words)
    assert (status, error) == (0, "")
    read: dict[str, Any] = json.loads(out)
    return read


def test_par_is_used_where_it_exists_and_said_where_not(bench: Practised) -> None:
    bench.run([200.0], kind="single")
    assert "Par is missing for 1 of 1 runs" in told(bench)
    assert data(bench, "--par")["without_par"] == 0
    assert "Par is missing" not in told(bench)
    with bench.logbook() as book:
        (row,) = Figures(book.database).latest("Ana", 5)
    assert row.data is not None
    assert row.data["par_legs_s"] == [row.data["par_whole_s"]]
    assert 30 < row.data["par_whole_s"] < 600


def test_of_a_run_whose_problem_cannot_be_read_the_result_counts(bench: Practised) -> None:
    bench.runs([500.0, 450.0])
    with sqlite3.connect(bench.folder / "logbook.sqlite") as book:
        book.execute("UPDATE events SET data = '{}' WHERE kind = 'run_drawn'")
    book.close()
    read = data(bench)
    assert read["unread"] == 2
    assert read["times"][-1]["latest_s"] == pytest.approx(450.0)
    assert "2 of them hold no problem that can be read" in told(bench)


def test_what_is_kept_is_used_and_what_came_later_is_not_overlooked(bench: Practised) -> None:
    run = bench.run([200.0, 250.0])
    first = data(bench)
    with bench.logbook() as book:
        record = book.find_run(run)
        ((_, _, kept),) = Figures(book.database).latest("Ana", 5)
        assert kept is not None
        tick = runs.host("tick", 7.0, "person", step="own_to_search", value="done")
        book.append(Event(**{**vars(tick), "run_id": record.run_id}))
        ((_, _, stale),) = Figures(book.database).latest("Ana", 5)
        assert stale is None
    assert first["steps"]["seen"] == 0
    assert data(bench)["steps"]["seen"] == 1


def test_of_very_many_runs_only_the_latest_are_read_and_only_once(
    bench: Practised, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The reduced form of `tests/benchmarks/many_runs.py`."""
    fill(bench.folder, 450, searchers=2)
    read: list[bytes | None] = []
    events_of = Logbook.events_of

    def counted(self: Logbook, run_id: bytes | None) -> list[Event]:
        read.append(run_id)
        return events_of(self, run_id)

    monkeypatch.setattr(Logbook, "events_of", counted)
    first = bench.command(progress, "--json")
    assert len(set(read)) == len(read) == READ
    assert bench.command(progress, "--json") == first
    assert len(read) == READ
    assert json.loads(first[1])["blind"]["rests_on"]["runs"] == READ
    assert "What follows is from the last 200 of them." in told(bench)


def test_what_is_kept_is_what_the_events_say_until_somebody_edits_it(bench: Practised) -> None:
    bench.runs([500.0] * 10)
    place = field_in(bench.folder)
    told(bench)
    with bench.logbook() as book:
        assert len(Figures(book.database).kept()) == 10
        assert figures_that_differ(book, place, shipped()) == []
        edited = book.runs()[3].run_id
        with book.database.writing() as connection:
            change = "UPDATE run_figures SET data = replace(data, ?, ?) WHERE run_id = ?"
            connection.exec_driver_sql(change, ('"aided": false', '"aided": true', edited))
        assert figures_that_differ(book, place, shipped()) == [edited]
