"""`blindfield logbook`: back up, hand on, take in, check the record; take a person out of it."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from blindfield.console.ask import answer
from blindfield.console.blind import refuse_while_open
from blindfield.console.desk import add_field_argument, add_json_argument, field_of
from blindfield.console.entries import key_of
from blindfield.console.logbook_screen import (
    counted,
    damage_text,
    forgotten_text,
    person_text,
    rebuilt_text,
    shown,
    taken_text,
)
from blindfield.logbook.book import Logbook
from blindfield.model.errors import ConfigError, LogbookError
from blindfield.model.field import Field
from blindfield.model.ids import run_id_text

DIFFERS = 1
RESCUED = "-rescued.jsonl"

_WORDS: dict[str, str] = {
    "backup": "copy the logbook to one file, also while it is in use",
    "export": "all closed runs and entries as FILE.jsonl (holds places: for whoever digs), or one "
    "line a run as FILE.csv",
    "import": "take in the runs of another logbook; the same file twice changes nothing",
    "people": "who is named in the logbook",
    "forget": "take a person's name out of runs, problems and entries, for good",
    "rebuild": "work out every figure from the events and compare it with what is kept",
    "check": "read the whole file; of a damaged one, save what can still be read",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    words = parser.add_subparsers(dest="what", required=True, metavar="WHAT")
    for name, doc in _WORDS.items():
        one = words.add_parser(name, help=doc, description=f"{doc[0].upper()}{doc[1:]}.")
        if name in ("backup", "export", "import"):
            one.add_argument("file", type=Path, metavar="FILE")
        if name == "forget":
            one.add_argument("name", metavar="NAME", help="as `people` lists it")
            one.add_argument(
                "--name-again", metavar="NAME", help="the name once more, where nobody is asked"
            )
        if name == "rebuild":
            one.add_argument(
                "--store", action="store_true", help="keep what was worked out where it differs"
            )
        if name == "check":
            one.add_argument(
                "--save",
                type=Path,
                metavar="FILE",
                help=f"where to save what can be read (default: beside the logbook, *{RESCUED})",
            )
        add_field_argument(one)
        add_json_argument(one)


def run(options: argparse.Namespace) -> int:
    return _DO[options.what](options, field_of(options))


@contextmanager
def _logbook(place: Field) -> Iterator[Logbook]:
    with Logbook.open(place.logbook_path, field_key=key_of(place), create=False) as logbook:
        yield logbook


def _say(options: argparse.Namespace, values: dict[str, Any], *sentences: str) -> None:
    print(json.dumps(values, indent=2) if options.json else "\n".join(sentences))


def _backup(options: argparse.Namespace, place: Field) -> int:
    from blindfield.logbook.backup import back_up

    with _logbook(place) as logbook:
        count = back_up(logbook, options.file)
    _say(
        options,
        {"file": str(options.file), "runs": count},
        f"{options.file}: a copy of the logbook, {counted(count, 'run')}, read back and sound.",
    )
    return 0


def _export(options: argparse.Namespace, place: Field) -> int:
    from blindfield.logbook.export import FORMAT, export_lines
    from blindfield.logbook.table import HEAD, table_lines
    from blindfield.logbook.whole_file import write_lines

    left_out: list[str] = []
    suffix = options.file.suffix.lower()
    with _logbook(place) as logbook:
        if suffix == ".csv":
            lines, mark = table_lines(logbook), HEAD
        elif suffix == ".jsonl":
            refuse_while_open(logbook, " A .csv holds no places and can be exported now.")
            lines, mark = export_lines(logbook, left_out), f'"format":"{FORMAT}"'
        else:
            raise ConfigError(
                f"{options.file} is neither .jsonl nor .csv.",
                remedy="End the name in .jsonl for another logbook, in .csv for a spreadsheet.",
            )
        count = write_lines(options.file, lines, mark=mark, kind="exported logbook") - 1
    several = ("run", "runs") if suffix == ".csv" else ("run or entry", "runs and entries")
    kinds = counted(count, *several)
    values = {"file": str(options.file), "lines": count, "left_out": left_out}
    _say(options, values, f"{options.file}: {kinds}.", *(f"Left out: {one}" for one in left_out))
    return 0


def _import(options: argparse.Namespace, place: Field) -> int:
    from blindfield.console.summing import summarise
    from blindfield.logbook.transfer import import_lines

    try:
        with open(options.file, "rb") as file, _made(place) as logbook:
            taken = import_lines(logbook, file, summarise)
    except OSError as error:
        raise ConfigError(
            f"{options.file} cannot be read: {error.strerror}.", remedy="Name another file."
        ) from error
    _say(options, vars(taken), *taken_text(taken))
    return DIFFERS if taken.refused else 0


@contextmanager
def _made(place: Field) -> Iterator[Logbook]:
    """The logbook, made where there is none."""
    with Logbook.open(place.logbook_path, field_key=key_of(place)) as logbook:
        yield logbook


def _people(options: argparse.Namespace, place: Field) -> int:
    from blindfield.logbook.people import people

    with _logbook(place) as logbook:
        known = people(logbook)
    values = [vars(one) for one in known]
    text = "\n".join(map(person_text, known)) or "Nobody is named in this logbook."
    print(json.dumps(values, indent=2) if options.json else text)
    return 0


def _forget(options: argparse.Namespace, place: Field) -> int:
    from blindfield.logbook.people import folded, forget

    with _logbook(place) as logbook:
        again = options.name_again or answer(
            f"The name {shown(options.name)} is taken out of every run and entry, for good.\n"
            "Type the name again: "
        )
        if folded(again) != folded(options.name):
            raise ConfigError(
                "nothing was removed: the name was not typed again.",
                remedy="Where nobody is asked: --name-again NAME.",
            )
        done = forget(logbook, options.name)
    _say(options, vars(done), *forgotten_text(done))
    return 0 if done.overwritten else DIFFERS


def _rebuild(options: argparse.Namespace, place: Field) -> int:
    from blindfield.console.own_figures import figures_that_differ
    from blindfield.console.summing import summarise
    from blindfield.logbook.rebuild import compare_all, drop_figures
    from blindfield.scoring.standards import standards_of

    standards, put_right = standards_of(place.folder), 0
    with _logbook(place) as logbook:
        made = list(compare_all(logbook, summarise, store=options.store))
        stale = figures_that_differ(logbook, place, standards)
        if options.store:
            before = {one.run_id for one in made if one.differs} | set(stale)
            drop_figures(logbook, stale)
            made = list(compare_all(logbook, summarise))
            stale = figures_that_differ(logbook, place, standards)
            put_right = len(before - {one.run_id for one in made if one.differs} - set(stale))
    differs = {run_id_text(one.run_id): list(one.differs) for one in made if one.differs}
    for run_id in stale:
        differs.setdefault(run_id_text(run_id), []).append("what is kept for progress")
    unknown = {run_id_text(one.run_id): one.unknown for one in made if one.unknown}
    values = {"runs": len(made), "differs": differs, "unknown": unknown, "put_right": put_right}
    _say(options, values, *rebuilt_text(len(made), differs, unknown, put_right, options.store))
    return DIFFERS if differs else 0


def _check(options: argparse.Namespace, place: Field) -> int:
    from blindfield.logbook.export import FORMAT
    from blindfield.logbook.rescue import Saved, rescued_lines
    from blindfield.logbook.whole_file import write_lines

    path = place.logbook_path
    if not path.exists():
        raise LogbookError(f"there is no logbook at {path}.", remedy="Make a run first.")
    damage = _damage(place)
    if not damage:
        _say(options, {"damaged": False}, f"{path}: every page and every run can be read.")
        return 0
    saved = Saved()
    target = options.save or path.with_name(path.stem + RESCUED)
    lines = rescued_lines(path, saved)
    write_lines(target, lines, mark=f'"format":"{FORMAT}"', kind="exported logbook")
    values = {"damaged": True, "damage": damage, "saved_to": str(target), **vars(saved)}
    _say(options, values, *damage_text(damage, target, saved))
    return DIFFERS


def _damage(place: Field) -> list[str]:
    """A sentence for each thing wrong; nothing for a sound file. Raises LogbookError for a file
    that cannot be read for other reasons, such as a newer version."""
    from blindfield.logbook.export import unread
    from blindfield.logbook.faults import Damaged

    try:
        with _logbook(place) as logbook:
            logbook.check()
            return list(unread(logbook))
    except Damaged as error:
        return [error.what]


_DO: dict[str, Callable[[argparse.Namespace, Field], int]] = {
    "backup": _backup,
    "export": _export,
    "import": _import,
    "people": _people,
    "forget": _forget,
    "rebuild": _rebuild,
    "check": _check,
}
