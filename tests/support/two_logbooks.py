"""A logbook of several people's runs on several fields, and what is said between them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from blindfield.logbook.book import Logbook
from blindfield.logbook.commitment import drawn_data
from blindfield.logbook.export import export_lines
from blindfield.logbook.transfer import Taken, import_lines
from blindfield.model.events import DeviceKey, Event
from blindfield.model.run_summary import RunRecord, RunSummary
from support.logbook_kit import EPOCH, KEY, run_id, strike, summary

ARABIC, CHINESE, GREEK = "ليلى", "李雷", "Ἀλκμήνη"


def at(minute: int) -> str:
    return f"2026-01-31T{10 + minute // 60:02}:{minute % 60:02}:00.000000Z"


def scenario(searcher: str, **more: Any) -> dict[str, Any]:
    why = [f"{searcher or 'The searcher'} knows where the targets lie: kept apart."]
    return {"kind": "pair", "targets": [], "searcher": searcher, "why": why, **more}


def said(run: bytes | None, kind: str, minute: int, **data: Any) -> Event:
    return Event(
        kind=kind, source="person", host_epoch=EPOCH, utc=at(minute), run_id=run, data=data
    )  # fmt: skip


def add_run(
    book: Logbook,
    number: int,
    searcher: str = "",
    *,
    minute: int | None = None,
    field_name: str = "upper meadow",
    close: bool = True,
    **line: Any,
) -> bytes:
    """Drawn at that minute, with a strike, a called one and a tick; closed unless told not to."""
    run, minute = run_id(number), number if minute is None else minute
    data = drawn_data(scenario(searcher), field_name=field_name)
    felt = strike(run, number)
    book.append_many(
        [
            Event(
                kind="run_drawn", source="host", host_epoch=EPOCH, utc=at(minute),
                run_id=run, data=data,
            ),
            felt,
            said(run, "tick", minute, step="probe", author="Observer Olga"),
            Event(
                kind="closed", source="host", host_epoch=EPOCH, utc=at(minute), run_id=run,
                data={"outcome": "met"},
            ),
        ]
    )  # fmt: skip
    values = {
        "scenario_kind": "pair",
        "started_utc": at(minute),
        "ended_utc": at(minute),
        "searcher": searcher,
        "field_name": field_name,
        **line,
    }
    if close:
        book.close_run(run, summary(run, **values))
    return run


def device_entry(seq: int, run: bytes | None = None) -> Event:
    """A device's record that another run's `strike` does not share."""
    event = strike(run, seq)
    key = DeviceKey(b"othertgt", 3, seq)
    return Event(
        kind="dug_out", source="device", host_epoch=event.host_epoch, utc=at(seq), run_id=run,
        device_key=key, device_time=event.device_time, host_s=event.host_s, raw=event.raw,
    )  # fmt: skip


def as_told(record: RunRecord) -> Callable[[Sequence[Event]], RunSummary]:
    """The summary as stored, void once somebody said so."""

    def summarise(events: Sequence[Event]) -> RunSummary:
        stored = record.summary
        assert stored is not None
        void = any(event.kind == "void" for event in events)
        return replace(stored, outcome="void") if void else stored

    return summarise


def exported(book: Logbook) -> bytes:
    return "".join(export_lines(book)).encode()


def take(book: Logbook, text: bytes | Iterable[bytes]) -> Taken:
    lines = text.splitlines(keepends=True) if isinstance(text, bytes) else text
    return import_lines(book, lines, as_told)


def opened(path: Path) -> Logbook:
    return Logbook.open(path, field_key=KEY)


def content(book: Logbook) -> list[tuple[RunRecord, list[Event]]]:
    """Everything that is told of runs, in the order made, and what belongs to none."""
    records = book.runs()[::-1]
    return [(record, book.events_of(record.run_id)) for record in records]
