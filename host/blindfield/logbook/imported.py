"""Reads the lines of an exported file, and holds each against what it says of itself."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from blindfield.logbook.commitment import commit, name_was_removed
from blindfield.logbook.export import FORMAT, VERSION, digest_of
from blindfield.model.errors import BlindfieldError, LogbookError
from blindfield.model.events import Event
from blindfield.model.ids import parse_run_id, run_id_text
from blindfield.model.run_summary import RunSummary
from blindfield.model.span import Span


@dataclass(frozen=True)
class FileRun:
    """A closed run as a file holds it; its events have the numbers of the file as ids."""

    run_id: bytes
    drawn_utc: str
    key_id: bytes
    commitment: str
    salt: str | None
    summary: RunSummary
    events: tuple[Event, ...]
    incomplete: bool


def read_lines(
    lines: Iterable[bytes],
) -> Iterator[tuple[int, FileRun | Event | BlindfieldError]]:
    """(number of the line from 1, what it holds or what is wrong with it).

    Raises LogbookError when the first line is not that of an export, or of a newer one.
    """
    numbered = enumerate(lines, 1)
    _check_version(next(numbered, (1, b""))[1])
    for number, line in numbered:
        if line.strip():
            yield number, _read(line)


def _check_version(line: bytes) -> None:
    try:
        head = json.loads(line)
        known = head["format"] == FORMAT
        version = int(head["version"])
    except (ValueError, KeyError, TypeError):
        known, version = False, 0
    if not known:
        raise LogbookError(
            "that file is no exported logbook: its first line does not say so.",
            remedy="`blindfield logbook export FILE.jsonl` makes one.",
        )
    if version > VERSION:
        raise LogbookError(
            f"that file has version {version}; this blindfield knows {VERSION}.",
            remedy="It was written by a newer blindfield: update this one.",
        )


def _read(line: bytes) -> FileRun | Event | BlindfieldError:
    try:
        values = json.loads(line)
        kind = "run" if "run" in values else "entry"
        held = values[kind]
        if digest_of(held) != values["digest"]:
            return LogbookError(
                f"{_name(kind, held)} was changed since it was exported.",
                remedy="It was not taken; export it again where it was made.",
            )
        return _run(held) if kind == "run" else _entry(held)
    except BlindfieldError as error:
        return error
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        return LogbookError(f"it is damaged and was left out ({error!r}).")


def _name(kind: str, held: Mapping[str, Any]) -> str:
    return f"run {held.get('run_id')}" if kind == "run" else "the entry"


def _entry(held: Mapping[str, Any]) -> Event:
    event = Event.from_json(held)
    if event.run_id is not None:
        raise ValueError("an entry of a run")
    return event


def _run(held: Mapping[str, Any]) -> FileRun:
    run_id = parse_run_id(held["run_id"])
    run = FileRun(
        run_id=run_id,
        drawn_utc=str(held["drawn_utc"]),
        key_id=bytes.fromhex(held["key_id"]),
        commitment=str(held["commitment"]),
        salt=None if held["salt"] is None else str(held["salt"]),
        summary=summary_from_json(held["summary"]),
        events=tuple(map(Event.from_json, held["events"])),
        incomplete=bool(held.get("incomplete")),
    )
    numbers = [event.id for event in run.events]
    if {event.run_id for event in run.events} | {run.summary.run_id} != {run_id}:
        raise ValueError("events of another run")
    if numbers != list(range(1, len(numbers) + 1)):
        raise ValueError("events out of order")
    _check_commitment(run)
    return run


def _check_commitment(run: FileRun) -> None:
    """Nothing is said of a run whose commitment nobody can open any more."""
    drawn = [event for event in run.events if event.kind == "run_drawn"]
    if not drawn:
        if run.incomplete:
            return
        raise ValueError("no problem was drawn")
    data = drawn[0].data
    if name_was_removed(data):
        return
    salt = run.salt or data["salt"]
    opened = commit(data["scenario"], bytes.fromhex(salt))
    if not opened == run.commitment == data["commitment"]:
        raise LogbookError(
            f"run {run_id_text(run.run_id)} is not the problem that was committed to before the "
            "search.",
            remedy="It was not taken.",
        )


def summary_from_json(values: Mapping[str, Any]) -> RunSummary:
    """The inverse of `export.summary_json`. Raises what a damaged one brings."""
    spans = tuple(Span(*span) for span in values["find_run_s"])
    return RunSummary(
        **{
            **values,
            "run_id": parse_run_id(values["run_id"]),
            "find_run_s": spans,
            "flags": tuple(values["flags"]),
            "sent": tuple(values["sent"]),
        }
    )
