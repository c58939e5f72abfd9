"""`blindfield debrief [RUN]`: what happened in a run that is closed."""

from __future__ import annotations

import argparse
import contextlib
import json
import sys
from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from blindfield.console.desk import add_field_argument, add_json_argument, field_of
from blindfield.console.entries import key_of
from blindfield.debrief.timeline import build_timeline
from blindfield.logbook.book import Logbook
from blindfield.model.errors import BlindfieldError, NotReady
from blindfield.model.events import Event
from blindfield.model.field import Field
from blindfield.model.ids import run_id_text
from blindfield.model.run_summary import RunRecord

if TYPE_CHECKING:
    from rich.console import RenderableType

    from blindfield.console.own_legs import Walked
    from blindfield.searcher.par import Par

LISTED = 30
PAR_PROFILE = "practised"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("which", nargs="?", metavar="RUN", help="the run's id or how it begins")
    add_field_argument(parser)
    add_json_argument(parser)
    parser.add_argument("--list", action="store_true", help="list the runs, latest first")
    parser.add_argument(
        "--picture", metavar="FILE", help="draw it beside a modelled search, .svg or .png"
    )
    parser.add_argument(
        "--html", metavar="FILE", help="write it as a page: one file that opens offline and prints"
    )
    parser.add_argument(
        "--all", action="store_true", help="every target's place: for whoever buries them"
    )
    parser.add_argument("--ascii", action="store_true", help="draw without special characters")


def run(options: argparse.Namespace) -> int:
    place = field_of(options)
    with Logbook.open(place.logbook_path, field_key=key_of(place), create=False) as logbook:
        if options.list:
            _list(logbook, as_json=options.json)
            return 0
        how = {"ascii_only": options.ascii, "all_targets": options.all}
        show(logbook, options.which, place, as_json=options.json, **how)
        if options.html:
            from blindfield.console.debrief_html import write

            said = write(logbook, options.which, place, options.html, all_targets=options.all)
            print(said, file=sys.stderr if options.json else sys.stdout)
    if options.picture:
        from blindfield.console.preview import draw_run

        with contextlib.redirect_stdout(sys.stderr if options.json else sys.stdout):
            draw_run(place, options.which, options.picture)
    return 0


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
    logbook: Logbook,
    which: str | None,
    place: Field,
    *,
    as_json: bool = False,
    ascii_only: bool = False,
    all_targets: bool = False,
) -> None:
    """Print the debrief of a closed run; raises NotReady for one that is open (it stays blind)."""
    from rich.console import Console

    from blindfield.debrief.as_json import to_json
    from blindfield.debrief.terminal import render
    from blindfield.debrief.words import verdict_text

    record = logbook.find_run(which)
    if record.is_open:
        raise NotReady("this run is not closed yet.", remedy="It stays blind until then.")
    events = logbook.events_of(record.run_id)
    timeline = build_timeline(record, events)
    if as_json:
        data = to_json(timeline) | {"par": _par_as_json(record, events, place)}
        print(json.dumps(data, indent=2))
        return
    beside = [_beside(record, events, place, ascii_only)] if timeline.finds else []
    if timeline.standard and timeline.started:
        beside.append(_judged(record, logbook, place))
    console = Console()
    console.print(render(timeline, ascii_only=ascii_only, all_targets=all_targets, beside=beside))
    console.print(verdict_text(timeline), style="bold")  # where the eye is after a long page


def _judged(record: RunRecord, logbook: Logbook, place: Field) -> tuple[str, RenderableType]:
    """The run held against the standard that it was made for: a section of the debrief."""
    from rich.text import Text

    from blindfield.console.debrief_html import told_of
    from blindfield.debrief.judged import verdict_lines

    verdict = told_of(record, logbook, place).verdict
    unknown = ("This standard is not known here any more.",)
    lines = unknown if verdict is None else verdict_lines(verdict)
    return "Against the standard", Text("\n".join(lines))


def _beside(
    record: RunRecord, events: Sequence[Event], place: Field, ascii_only: bool
) -> tuple[str, RenderableType]:
    """The run beside its par: a section of the debrief."""
    from rich.console import Group
    from rich.text import Text

    from blindfield.console.par_tables import beside_table

    title = "Beside a model"
    try:
        made, par = par_beside(record, events, place)
    except BlindfieldError as error:
        return title, Text(f"No par for this run: {error}")
    said = (
        f"{par.count} modelled searches of this problem (a {par.profile} searcher), not people. "
        "By phase: `blindfield par RUN`."
    )
    return title, Group(beside_table(par, made, ascii_only=ascii_only), Text(said, style="dim"))


def _par_as_json(record: RunRecord, events: Sequence[Event], place: Field) -> Any:
    """None where no model can walk this problem."""
    from blindfield.console.par_json import par_json

    try:
        made, par = par_beside(record, events, place)
    except BlindfieldError:
        return None
    return par_json(par, {}, made, None)


def par_beside(record: RunRecord, events: Sequence[Event], place: Field) -> tuple[Walked, Par]:
    """A closed run and its par. Raises BlindfieldError where no model can walk its problem."""
    from blindfield.console.own_legs import walked
    from blindfield.searcher.cache import ParCache
    from blindfield.searcher.par import par_of
    from blindfield.searcher.profiles import profile_named

    made = walked(record, events, place)
    return made, par_of(made.problem, profile_named(PAR_PROFILE), cache=ParCache())
