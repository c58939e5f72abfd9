"""`blindfield debrief [RUN]`: what happened in a run that is closed."""

from __future__ import annotations

import argparse
import json

from blindfield.console.desk import add_field_argument, add_json_argument, field_of
from blindfield.debrief.timeline import build_timeline
from blindfield.links.keyfile import read_key
from blindfield.logbook.book import Logbook
from blindfield.model.errors import ConfigError, NotReady
from blindfield.model.field import Field


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("which", nargs="?", metavar="RUN", help="the run's id or how it begins")
    add_field_argument(parser)
    add_json_argument(parser)
    parser.add_argument("--ascii", action="store_true", help="draw without special characters")


def run(options: argparse.Namespace) -> int:
    place = field_of(options)
    with Logbook.open(place.logbook_path, field_key=_key(place), create=False) as logbook:
        show(logbook, options.which, as_json=options.json, ascii_only=options.ascii)
    return 0


def _key(place: Field) -> bytes | None:
    try:
        return read_key(place.key_path)
    except ConfigError:
        return None  # closed runs can be read without it


def show(
    logbook: Logbook, which: str | None, *, as_json: bool = False, ascii_only: bool = False
) -> None:
    """Print the debrief of a closed run; raises NotReady for one that is open (it stays blind)."""
    from rich.console import Console

    from blindfield.debrief.as_json import to_json
    from blindfield.debrief.terminal import render

    record = logbook.find_run(which)
    if record.is_open:
        raise NotReady("this run is not closed yet.", remedy="It stays blind until then.")
    timeline = build_timeline(record, logbook.events_of(record.run_id))
    if as_json:
        print(json.dumps(to_json(timeline), indent=2))
    else:
        Console().print(render(timeline, ascii_only=ascii_only))
