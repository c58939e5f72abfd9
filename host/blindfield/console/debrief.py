"""`blindfield debrief [RUN]`: what happened in a run that is closed."""

from __future__ import annotations

import argparse
import json
from datetime import datetime
from typing import Any

from blindfield.console.desk import add_field_argument, add_json_argument, field_of
from blindfield.debrief.timeline import build_timeline
from blindfield.links.keyfile import read_key
from blindfield.logbook.book import Logbook
from blindfield.model.errors import ConfigError, NotReady
from blindfield.model.field import Field
from blindfield.model.ids import run_id_text
from blindfield.model.run_summary import RunRecord

LISTED = 30


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("which", nargs="?", metavar="RUN", help="the run's id or how it begins")
    add_field_argument(parser)
    add_json_argument(parser)
    parser.add_argument("--list", action="store_true", help="list the runs, latest first")
    parser.add_argument("--ascii", action="store_true", help="draw without special characters")


def run(options: argparse.Namespace) -> int:
    place = field_of(options)
    with Logbook.open(place.logbook_path, field_key=_key(place), create=False) as logbook:
        if options.list:
            _list(logbook, as_json=options.json)
            return 0
        show(logbook, options.which, as_json=options.json, ascii_only=options.ascii)
    return 0


def _key(place: Field) -> bytes | None:
    try:
        return read_key(place.key_path)
    except ConfigError:
        return None  # closed runs can be read without it


def _list(logbook: Logbook, *, as_json: bool) -> None:
    records = logbook.runs(LISTED)
    if as_json:
        print(json.dumps([_row(record) for record in records], indent=2))
        return
    for record in records:
        row = _row(record)
        drawn = datetime.fromisoformat(record.drawn_utc).astimezone()
        found = f"{row['found']} of {row['targets']} found" if record.summary else ""
        outcome = row["outcome"].replace("_", " ")
        print(f"{row['run'][:6]}  {drawn:%Y-%m-%d %H:%M}  {row['drill']:<10} {outcome:<12} {found}")


def _row(record: RunRecord) -> dict[str, Any]:
    """An open run shows nothing but that it is open."""
    done = record.summary
    return {
        "run": run_id_text(record.run_id),
        "drawn": record.drawn_utc,
        "drill": done.scenario_kind if done else "",
        "outcome": done.outcome if done else "open",
        "found": done.found if done else None,
        "targets": done.targets if done else None,
    }


def show(
    logbook: Logbook, which: str | None, *, as_json: bool = False, ascii_only: bool = False
) -> None:
    """Print the debrief of a closed run; raises NotReady for one that is open (it stays blind)."""
    from rich.console import Console

    from blindfield.debrief.as_json import to_json
    from blindfield.debrief.terminal import render
    from blindfield.debrief.words import verdict_text

    record = logbook.find_run(which)
    if record.is_open:
        raise NotReady("this run is not closed yet.", remedy="It stays blind until then.")
    timeline = build_timeline(record, logbook.events_of(record.run_id))
    if as_json:
        print(json.dumps(to_json(timeline), indent=2))
    else:
        console = Console()
        console.print(render(timeline, ascii_only=ascii_only))
        console.print(verdict_text(timeline), style="bold")  # where the eye is after a long page
