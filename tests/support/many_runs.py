"""A logbook of very many runs, made quickly: the records of a few, under other ids."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from support.practised import Practised

TEMPLATES = 12


class Quiet:
    """Stands where a test would give its captured output."""

    def readouterr(self) -> Any:
        return type("Out", (), {"out": "", "err": ""})


def fill(folder: Path, runs: int, *, searchers: int) -> Path:
    """The field's folder with a logbook of `runs` runs by so many people in turn; its file."""
    made = Practised(folder, Quiet())  # type: ignore[arg-type]
    made.runs([700.0 - 5 * number + 90 * (number % 3) for number in range(TEMPLATES)])
    path = folder / "logbook.sqlite"
    if not path.exists():
        (path,) = folder.glob("*.sqlite*")
    with sqlite3.connect(path) as book:
        for table, key in (("runs", "number"), ("events", "id")):
            _copy(book, table, key, runs, searchers)
    book.close()
    return path


def _copy(book: sqlite3.Connection, table: str, key: str, runs: int, searchers: int) -> None:
    names = [row[1] for row in book.execute(f"PRAGMA table_info({table})") if row[1] != key]
    rows = book.execute(f"SELECT {', '.join(names)} FROM {table} ORDER BY {key}").fetchall()
    of_run: dict[bytes, list[dict[str, Any]]] = {}
    for row in rows:
        one = dict(zip(names, row, strict=True))
        of_run.setdefault(one["run_id"], []).append(one)
    templates = list(of_run.values())
    marks = ", ".join(f":{name}" for name in names)
    insert = f"INSERT INTO {table} ({', '.join(names)}) VALUES ({marks})"
    book.executemany(insert, _rows(templates, runs, searchers))


def _rows(
    templates: list[list[dict[str, Any]]], runs: int, searchers: int
) -> Iterator[dict[str, Any]]:
    for number in range(TEMPLATES, runs):
        for one in templates[number % TEMPLATES]:
            row = {**one, "run_id": b"mny" + number.to_bytes(5, "big")}
            if "searcher" in row:
                row["searcher"] = f"Person {number % searchers}"
            if row.get("kind") == "run_drawn":  # another problem, or it would not be blind
                row["data"] = re.sub(r'"seed": \d+', f'"seed": {number}', row["data"])
            if row.get("journal_id") is not None:
                row["journal_id"] = number + 1_000_000
            yield row
