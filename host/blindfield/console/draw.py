"""`blindfield draw`: what could be drawn for a searcher, and how much is left; never what comes."""

from __future__ import annotations

import argparse
import json
import shutil
import textwrap
from typing import Any

from blindfield.console.asked import Asked, add_searcher_arguments, asked_of, known_of
from blindfield.console.desk import add_field_argument, add_json_argument, field_of
from blindfield.drills.outlook import KindOutlook, Outlook
from blindfield.logbook.book import Logbook
from blindfield.model.field import Field

USED_UP = "This field is used up for you: move two, or swap."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_field_argument(parser)
    add_json_argument(parser)
    add_searcher_arguments(parser)
    parser.epilog = (
        "Needs no targets that answer: it counts what lies. It never names the next problem. The "
        "guess advantage says how much oftener somebody who knows where all lie and what was "
        "drawn before names, by one guess, exactly the targets that will send, than somebody who "
        "knows only how many there are; 1 means that knowing is no use."
    )


def run(options: argparse.Namespace) -> int:
    place = field_of(options)
    asked = asked_of(options, place)
    with _logbook(place) as logbook:
        known = known_of(asked, place, logbook)
    outlook = known.outlook
    if options.json:
        print(json.dumps(as_json(asked, outlook), indent=2))
    else:
        print("\n".join([*lines(asked, outlook), *map(_filled, known.to_say(asked))]))
    return 0


def _logbook(place: Field) -> Logbook:
    """The field's logbook, or an empty one where nothing was run yet."""
    path = place.logbook_path if place.logbook_path.exists() else None
    return Logbook.open(path, field_key=None)


def as_json(asked: Asked, outlook: Outlook) -> dict[str, Any]:
    """The same figures for a program."""
    return {
        "field": outlook.ground.place.name,
        "searcher": asked.searcher,
        "knows_places": asked.knows_places,
        "work": outlook.work,
        "range_m": outlook.ground.range_m,
        "runs_here": outlook.history.runs_here,
        "problems": len(outlook.problems),
        "left": outlook.left,
        "best_guess": outlook.best_guess,
        "chance": outlook.chance,
        "guess_advantage": outlook.guess_advantage,
        "used_up": outlook.used_up,
        "kinds": [_kind(one) for one in outlook.kinds()],
    }


def _kind(one: KindOutlook) -> dict[str, Any]:
    """Without how likely it comes next: that is the draw's own."""
    return {
        "kind": one.drill.kind,
        "title": one.drill.title,
        "purpose": one.drill.purpose,
        "can_be_set": not one.reason,
        "why_not": one.reason,
        "drawn": one.drill.drawn,
        "waits_for": list(one.waits),
        "tried": one.tried,
        "judged": one.judged,
        "met": one.met,
        "problems": one.problems,
        "left": one.left,
    }


def lines(asked: Asked, outlook: Outlook) -> list[str]:
    """The page for people."""
    ground, kinds = outlook.ground, outlook.kinds()
    for_whom = f", for {asked.searcher}" if asked.searcher else ""
    apart = "Runs of somebody who knows the places are kept apart from blind ones."
    return [
        *_wrapped(
            f"{ground.place.name}{for_whom}: {outlook.work}, {len(ground.present)} targets, a "
            f"receiver that hears {ground.range_m:g} m."
        ),
        "",
        f"{'kind':<21}{'problems':>9}{'left':>6}{'tried':>6}{'met':>9}",
        *(_line(one) for one in kinds if not one.reason),
        "",
        *(
            text
            for one in kinds
            if one.reason
            for text in _wrapped(f"{one.drill.kind}: not here, {one.reason}", "  ")
        ),
        *_wrapped(
            f"{outlook.left} of {len(outlook.problems)} different problems are left. (A problem: "
            "who sends, and in which order they are heard from the start.)"
        ),
        *_wrapped(_guess(outlook)),
        *(_wrapped(apart) if asked.knows_places else ()),
        *([USED_UP] if outlook.used_up else ()),
    ]


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, shutil.get_terminal_size().columns, subsequent_indent=indent)


def _filled(text: str) -> str:
    return "\n".join(_wrapped(text))


def _guess(outlook: Outlook) -> str:
    return (
        f"Guess advantage {outlook.guess_advantage:.1f}: who knows the places and what was drawn "
        f"before names the next targets in {outlook.best_guess:.0%} of guesses; who knows only how "
        f"many there are, in {outlook.chance:.0%}."
    )


def _line(one: KindOutlook) -> str:
    met = f"{one.met} of {one.judged}" if one.judged else "-"
    count = f"{one.problems:>9}{one.left:>6}" if one.drill.drawn else f"{'-':>9}{'-':>6}"
    when = "" if one.drill.drawn else "only by --drill"
    if one.waits:
        when = f"after {one.waits[0]}{' or the like' if one.waits[1:] else ''}"
    return f"{one.drill.kind:<21}{count}{one.tried:>6}{met:>9} {when}".rstrip()
