"""One line a run, as spreadsheets read it: CSV (RFC 4180) in UTF-8 with its mark in front."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator
from typing import Any

from blindfield.logbook.book import Logbook
from blindfield.logbook.export import closed_runs
from blindfield.model.ids import run_id_text
from blindfield.model.run_summary import RunSummary
from blindfield.model.span import Span

COLUMNS = (
    *("run", "drawn_utc", "started_utc", "ended_utc", "field", "kind", "work", "standard"),
    *("time_limit_s", "searcher", "knows_places", "start_point", "outcome", "targets", "found"),
    "flags",
)
BYTE_ORDER_MARK = "\ufeff"  # without it some spreadsheets take UTF-8 for something else
HEAD = ",".join(COLUMNS)
_STARTS_A_FORMULA = frozenset("=+-@\uff1d\uff0b\uff0d\uff20")
_MICROSECOND_S = 1e-6


def table_lines(logbook: Logbook) -> Iterator[str]:
    """The head, then every closed run in the order made. `find_1_s` and so on: the time to each
    find, tenths of a second, never rounded up; the latest it may have been where no moment is
    likelier than another.

    What people typed is text to a spreadsheet, never a formula: an apostrophe stands before it.
    """
    closed = [record for record, _ in closed_runs(logbook)]
    most = max((one.summary.found for one in closed if one.summary), default=0)
    yield BYTE_ORDER_MARK + _row([*COLUMNS, *(f"find_{n}_s" for n in range(1, most + 1))])
    for record in closed:
        assert record.summary is not None
        cells = _cells(record.summary, record.drawn_utc)
        yield _row([*cells, *[""] * (most - record.summary.found)])


def _cells(one: RunSummary, drawn_utc: str) -> list[Any]:
    return [
        run_id_text(one.run_id),
        drawn_utc,
        one.started_utc or "",
        one.ended_utc,
        _text(one.field_name),
        _text(one.scenario_kind),
        one.work,
        _text(one.standard or ""),
        "" if one.time_limit_s is None else f"{one.time_limit_s:g}",
        _text(one.searcher),
        "yes" if one.knows_places else "no",
        _text(one.start_point),
        one.outcome,
        one.targets,
        one.found,
        _text("; ".join(one.flags)),
        *map(_seconds, one.find_run_s),
    ]


def _seconds(span: Span) -> str:
    seconds = span.high if span.best is None else span.best
    return f"{math.floor(seconds * 10 + 10 * _MICROSECOND_S) / 10:.1f}"


def _text(text: str) -> str:
    plain = " ".join("".join(one if one.isprintable() else " " for one in text).split())
    return f"'{plain}" if plain[:1] in _STARTS_A_FORMULA else plain


def _row(cells: list[Any]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerow(cells)
    return out.getvalue()
