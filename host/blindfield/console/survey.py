"""`blindfield survey`: where the targets really lie, from three tape readings each."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from blindfield.console.desk import add_field_argument, add_json_argument
from blindfield.console.entries import (
    add_person_argument,
    depth_line,
    number_of,
    open_entries,
)
from blindfield.console.short_entry import HELP
from blindfield.console.survey_session import FAR_M, Session, Twice
from blindfield.field.as_built import DEPTH_BAND_M
from blindfield.field.snooping import Judgement
from blindfield.field.suggest import TAPE_M
from blindfield.field.survey import READING_SIGMA_M
from blindfield.model.errors import ConfigError

SIGMA_RANGE_CM = (1.0, 100.0)
TAPE_RANGE_M = (5.0, 500.0)
_END = ("q", "end", "quit")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.description = (
        "Where the targets really lie. For whoever digs, never for whoever searches: it shows "
        f"places.\nAt a terminal it asks; every entry is kept at once.\n\n{HELP}"
    )
    parser.add_argument("targets", nargs="*", metavar="TARGET", help="these alone (default: all)")
    parser.add_argument(
        "--reading", action="append", default=[], metavar="ENTRY", help='such as "3 A 31.40"'
    )
    parser.add_argument("--readings", metavar="FILE", help="entries, one a line; - for the input")
    parser.add_argument(
        "--afresh", action="store_true", help="leave the readings of earlier sittings aside"
    )
    parser.add_argument(
        "--sigma-cm",
        default=f"{READING_SIGMA_M * 100:g}",
        metavar="CM",
        help="how well you read a tape: standard deviation (default 10)",
    )
    parser.add_argument(
        "--tape", default=f"{TAPE_M:g}", metavar="METRES", help="length of the tape (default 50)"
    )
    add_person_argument(parser)
    add_field_argument(parser)
    add_json_argument(parser)


def run(options: argparse.Namespace) -> int:
    sigma_m = _within(options.sigma_cm, SIGMA_RANGE_CM, "cm") / 100
    tape_m = _within(options.tape, TAPE_RANGE_M, "m")
    lines = _file_lines(options.readings) if options.readings else []
    with open_entries(options) as entries:
        place = entries.place
        if not place.targets:
            raise ConfigError(
                "this field has no targets yet.", remedy="Write them into its file, or plan it."
            )
        names = [place.target_named(name).name for name in options.targets]
        names = names or [target.name for target in place.targets]
        session = Session(entries, names, sigma_m, tape_m, afresh=options.afresh)
        say = _quiet if options.json else print
        scripted = [(f'--reading "{text}"', text) for text in options.reading] + lines
        refused: list[str] = []
        if scripted or options.readings:
            refused = _take_all(session, scripted, say)
        elif sys.stdin.isatty():
            if not options.json:  # a program asks what is known
                _ask(session, say)
        else:
            refused = _take_all(session, _numbered("input", sys.stdin), say)
        entries.refuse_while_open()
        _summary(session, refused, as_json=options.json)
        stuck = [name for name in session.touched if session.cannot_be(name)]
    return 1 if refused or stuck else 0


def _within(text: str, span: tuple[float, float], unit: str) -> float:
    value = number_of(text, "a number")
    if not span[0] <= value <= span[1]:
        raise ConfigError(
            f"{value:g} {unit} is out of range.", remedy=f"Give {span[0]:g} to {span[1]:g} {unit}."
        )
    return value


def _file_lines(name: str) -> list[tuple[str, str]]:
    if name == "-":
        return list(_numbered("input", sys.stdin))
    try:
        text = Path(name).expanduser().read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise ConfigError(
            f"{name} cannot be read: {error}.", remedy="Check the path; it must be text."
        ) from error
    return list(_numbered(name, text.splitlines()))


def _numbered(name: str, lines: Iterable[str]) -> Iterable[tuple[str, str]]:
    """(where, entry) of each line that holds one; # begins a comment."""
    for number, line in enumerate(lines, 1):
        text = line.partition("#")[0].strip()
        if text:
            yield f"{name}, line {number}", text


def _take_all(
    session: Session, entries: Iterable[tuple[str, str]], say: Callable[[str], None]
) -> list[str]:
    """Each entry that can be taken; sentences about the others, which are said at once."""
    refused = []
    for where, text in entries:
        session.target = session.origin = None  # a script names both
        try:
            name = _obey(session, text, say)
        except ConfigError as error:
            print(f"{where}: {error}", file=sys.stderr)
            if not isinstance(error, Twice):  # a file may be read a second time
                refused.append(f"{where}: {error}")
            continue
        if name is None:
            break
    return refused


def _ask(session: Session, say: Callable[[str], None]) -> None:
    """Questions at the terminal until the end is said or the input ends."""
    say("Enter ? for help, end to leave. Every entry is kept at once.")
    while True:
        session.entries.refuse_while_open()
        try:
            text = input(_question(session)).strip()
        except EOFError:
            print()
            return
        if not text:
            if session.target is None:
                return
            session.skip()
            continue
        try:
            if _obey(session, text, say) is None:
                return
        except ConfigError as error:
            say(str(error))


def _question(session: Session) -> str:
    if session.target is None:
        return "All have their places. Enter to leave, or another entry: "
    return f"target {session.target}, tape from {session.origin or 'which peg'}: "


def _obey(session: Session, text: str, say: Callable[[str], None]) -> str | None:
    """Do what one entry says; None when it says that this is the end."""
    word, _, rest = text.partition(" ")
    word = word.lower()
    if text.lower() in _END:
        return None
    if text.lower() in ("?", "h", "help"):
        say(HELP)
    elif text.lower() in ("u", "undo"):
        name, taken = session.undo()
        say(f"target {name}: {', '.join(map(str, taken))} taken back.")
        _tell(session, name, say)
    elif word == "drop":
        name = session.entries.place.target_named(rest.strip() or session.target or "").name
        say(f"target {name}: {len(session.drop(name))} readings dropped. Read it again.")
    elif word in ("t", "to") and rest:
        session.ask_next(session.entries.place.target_named(rest.strip()).name)
    else:
        entry = session.enter(text)
        if entry.readings:
            _tell(session, entry.target, say)
        else:
            say(depth_line(session.entries.built().target_named(entry.target), DEPTH_BAND_M))
    return text


def _tell(session: Session, name: str, say: Callable[[str], None]) -> None:
    if session.entries.logbook.open_runs():
        return  # kept; but a run began meanwhile, and places stay blind
    for line in told(session, name):
        say(line)


def told(session: Session, name: str) -> list[str]:
    """What is known of one target now, in sentences."""
    found = session.judgement(name)
    place_m, sigma_m = session.place_of(name)
    lines = []
    if place_m:
        off = f"{session.off_plan_m(name):.1f} m from the field's file"
        lines.append(
            f"target {name}: {place_m[0]:.2f} m, {place_m[1]:.2f} m (+-{sigma_m:.2f}; {off})"
        )
        if session.off_plan_m(name) > FAR_M:
            lines.append("  That is far from its planned place: is it the right target?")
        lines.append(f"  read minus adjusted: {_residuals(session, name)}")
    lines += [f"target {name}: {words}" for words in session.cannot_be(name)[:1]]
    return [*lines, f"target {name}: {verdict(session, name, found)}"]


def verdict(session: Session, name: str, found: Judgement) -> str:
    """What the readings say together and what to do, in a sentence or two."""
    readings = [str(reading) for reading in found.readings]
    more = f"{found.wanted} more reading{'s' if found.wanted != 1 else ''}"
    if found.disagrees and len(readings) > 2 and not found.wanted:
        return f"{len(readings)} readings disagree: wrong target, or a peg moved? Say: drop {name}"
    if found.disagrees:
        which = ", ".join(readings[n] for n in found.suspects)
        return (
            f"the readings disagree; wrong is one of {which}. MEASURE AGAIN: {more}. "
            f"Or: drop {name}, and read it all again."
        )
    if found.place is None or len(found.kept) < 3:
        taken = f"{len(readings)} reading{'s' if len(readings) != 1 else ''} kept"
        bad = f"{_bad(session, name, found)} " if found.bad else ""
        return f"{bad}{taken}; {more} wanted."
    if found.bad:
        return f"{_bad(session, name, found)} The others agree."
    if found.place.other_m:
        x_m, y_m = found.place.other_m
        return f"{x_m:.1f} m, {y_m:.1f} m fits as well: {more} wanted, from another side."
    if found.unchecked:
        which = ", ".join(readings[n] for n in found.unchecked)
        return f"nothing checks {which}: {more} wanted, from another side."
    return "good."


def _bad(session: Session, name: str, found: Judgement) -> str:
    missed_m = session.missed_m(name)
    which = ", ".join(f"{found.readings[n]} ({missed_m[n]:+.2f} m)" for n in found.bad)
    return f"BAD READING left out: {which}."


def _residuals(session: Session, name: str) -> str:
    readings = session.readings[name]
    pairs = zip(readings, session.missed_m(name), strict=True)
    return ", ".join(f"{reading} {round(missed_m * 100) + 0:+d} cm" for reading, missed_m in pairs)


def _quiet(_: str) -> None:
    """Says nothing: a program reads the output."""


def _summary(session: Session, refused: list[str], *, as_json: bool) -> None:
    again = [n for n in session.names if session.judgement(n).disagrees]
    short = [n for n in session.names if session.judgement(n).wanted and n not in again]
    if as_json:
        rows = [_row(session, name) for name in session.names]
        found = {"targets": rows, "measure_again": again, "want_more": short, "refused": refused}
        print(json.dumps(found, indent=2))
        return
    done = [name for name in session.names if name not in again and name not in short]
    for title, names in (("Placed", done), ("MEASURE AGAIN", again), ("Want more", short)):
        if names:
            print(f"{title}: {', '.join(names)}.")


def _row(session: Session, name: str) -> dict[str, Any]:
    found = session.judgement(name)
    place_m, sigma_m = session.place_of(name)
    missed_m: list[float | None] = [*session.missed_m(name)] or [None] * len(found.readings)
    return {
        "name": name,
        "x_m": place_m[0] if place_m else None,
        "y_m": place_m[1] if place_m else None,
        "sigma_m": sigma_m,
        "readings": [
            {
                "kind": reading.kind.value,
                "from": reading.origin,
                "value_m": reading.value_m,
                "residual_cm": None if miss_m is None else round(miss_m * 100, 1),
                "bad": n in found.bad,
                "suspect": n in found.suspects,
            }
            for n, (reading, miss_m) in enumerate(zip(found.readings, missed_m, strict=True))
        ],
        "cannot_be": session.cannot_be(name),
        "disagree": found.disagrees,
        "wanted": found.wanted,
        "says": verdict(session, name, found),
    }
