"""`blindfield next`: the next sitting laid out, for the time and the people there are."""

from __future__ import annotations

import argparse
import json
import shlex
from collections.abc import Sequence
from dataclasses import asdict
from statistics import median
from typing import Any

from blindfield.console.asked import Asked, known_of
from blindfield.console.desk import add_field_argument, add_json_argument, field_of
from blindfield.console.entries import key_of
from blindfield.console.whose import Whose, add_whose_arguments, whose
from blindfield.drills.catalogue import catalogue_of
from blindfield.drills.drill import Drill
from blindfield.logbook.book import Logbook
from blindfield.model.errors import ConfigError
from blindfield.model.field import Field
from blindfield.model.scenario import EndOn
from blindfield.scoring.advise import HOLDS_RUNS, HOLDS_SHARE, Block, Done, Sitting, Way, advise
from blindfield.scoring.attempts import Attempt
from blindfield.scoring.counts import met_of_last, steps_of
from blindfield.scoring.prospect import prospects_of

DEFAULT_MIN, MINUTES_RANGE = 60.0, (10.0, 600.0)
PEOPLE_RANGE = (1, 12)
USUAL_RUN_S = 420.0  # of a kind never tried; ours
NO_CLOCK = "technique"  # the standard under which no clock is shown
TECHNIQUE_FIRST = (
    f"Technique before speed: a drill gets a clock once {100 * HOLDS_SHARE:.0f} of 100 steps are "
    f"right over {HOLDS_RUNS} runs in which somebody ticked (an observer, or you afterwards)."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_field_argument(parser)
    add_json_argument(parser)
    add_whose_arguments(parser)
    parser.add_argument(
        "--minutes",
        type=float,
        default=DEFAULT_MIN,
        help=f"how long you are there (default {DEFAULT_MIN:g})",
    )
    parser.add_argument(
        "--people", type=int, default=1, help="how many are there and search in turn (default 1)"
    )
    parser.add_argument("--dig", action="store_true", help="the found are dug out")
    parser.epilog = "It names drills, never a problem: what is drawn stays blind."


def run(options: argparse.Namespace) -> int:
    _check(options)
    place = field_of(options)
    path = place.logbook_path if place.logbook_path.exists() else None  # None: an empty one
    with Logbook.open(path, field_key=key_of(place)) as logbook:
        asked = whose(options, place, logbook, newcomer=True)
        ways = ways_of(place, logbook, asked, dig=options.dig)
    attempts = asked.own.attempts
    sitting = advise(
        ways,
        done_of(asked, [way.kind for way in ways]),
        technique=steps_of(attempts),
        minutes=options.minutes,
        people=options.people,
    )
    if options.json:
        print(json.dumps(as_json(asked, sitting), indent=2, allow_nan=False, ensure_ascii=False))
    else:
        print("\n".join(lines(asked, sitting, dig=options.dig)))
    return 0


def _check(options: argparse.Namespace) -> None:
    for value, (low, high), what in (
        (options.minutes, MINUTES_RANGE, "min"),
        (options.people, PEOPLE_RANGE, "people"),
    ):
        if not low <= value <= high:
            raise ConfigError(
                f"no sitting is laid out for {value:g} {what}.",
                remedy=f"Choose from {low:g} to {high:g}.",
            )


def ways_of(place: Field, logbook: Logbook, asked: Whose, *, dig: bool) -> list[Way]:
    """The drills that can be set on the field as it lies."""
    end_on: EndOn = "dug_out" if dig else "strike"
    catalogue = catalogue_of(place.folder)
    outlook = known_of(
        Asked(catalogue=catalogue, searcher=asked.searcher, end_on=end_on), place, logbook
    ).outlook
    return [_way(drill, asked.own.attempts, dig=dig) for drill in outlook.able]


def _way(drill: Drill, attempts: Sequence[Attempt], *, dig: bool) -> Way:
    took_s = [
        one.whole.seconds for one in attempts if one.kind == drill.kind and one.whole is not None
    ]
    return Way(
        kind=drill.kind,
        title=drill.title,
        run_s=median(took_s[-5:]) if took_s else USUAL_RUN_S,
        holes=max(drill.targets) if dig else 0,
        after=drill.after,
        needs_word=drill.second == "word",
    )


def done_of(asked: Whose, kinds: Sequence[str]) -> dict[str, Done]:
    """What was done of each kind, blind."""
    attempts = [one for one in asked.own.attempts if one.blind and one.outcome != "void"]
    said = None
    if asked.goal is not None:
        said = prospects_of(asked.goal, asked.own.attempts).blind.said
    chances = {} if said is None else said.by_kind
    return {
        kind: _done([a for a in attempts if a.kind == kind], chances.get(kind)) for kind in kinds
    }


def _done(attempts: Sequence[Attempt], chance: float | None) -> Done:
    return Done(
        runs=len(attempts),
        count=met_of_last([one for one in attempts if not one.technique]),
        chance=chance,
        steps=steps_of(attempts),
        ever_met=any(one.met for one in attempts),
    )


def lines(asked: Whose, sitting: Sitting, *, dig: bool) -> list[str]:
    """The sitting on a screen."""
    turns = "" if sitting.turns == 1 else f", {sitting.turns} people in turn"
    said = [f"For {asked.name}: about {_minutes(sitting.seconds)} min{turns}.", ""]
    for number, block in enumerate(sitting.blocks, 1):
        runs = "1 run" if block.runs == 1 else f"{block.runs} runs"
        mode = "timed" if block.mode == "timed" else "technique, without a clock"
        said += [
            f"{number}. {block.way.title}: {runs}, {mode}, about {_minutes(block.seconds)} min.",
            f"   {reason(block)}",
            f"   {command(asked, block, dig=dig)}",
        ]
    if sitting.roles:
        said += ["", f"Who waits is {_listed(sitting.roles)}; change places after each run."]
    if any(block.mode == "technique" for block in sitting.blocks):
        said += ["", TECHNIQUE_FIRST]
    return said


def _minutes(seconds: float) -> int:
    return max(1, round(seconds / 60))


def _listed(roles: Sequence[str]) -> str:
    return roles[0] if len(roles) == 1 else f"{', '.join(roles[:-1])} or {roles[-1]}"


def reason(block: Block) -> str:
    """Why this drill, and why so."""
    done = block.done
    if not done.runs:
        return "Never tried before: first without a clock."
    times = "once" if done.runs == 1 else f"{done.runs} times"
    met = f", met {done.count.met} of the last {done.count.count}" if done.count.count else ""
    chance = "" if done.chance is None else f"; {100 * done.chance:.0f} of 100 would pass now"
    steps = done.steps
    seen = f"; {steps.right} of {steps.seen} steps right" if steps.seen else "; no step was ticked"
    return f"Tried {times}{met}{chance}{seen if block.mode == 'technique' else ''}."


def command(asked: Whose, block: Block, *, dig: bool) -> str:
    """How to begin it."""
    words = ["blindfield", "run", "--drill", block.way.kind]
    words += ["--searcher", asked.searcher] if asked.searcher else []
    words += ["--standard", NO_CLOCK] if block.mode == "technique" else []
    words += ["--end-on", "dug-out"] if dig else []
    return shlex.join(words)


def as_json(asked: Whose, sitting: Sitting) -> dict[str, Any]:
    """Plain JSON values."""
    return {
        "searcher": asked.searcher,
        "seconds": sitting.seconds,
        "turns": sitting.turns,
        "roles": list(sitting.roles),
        "technique": asdict(sitting.technique),
        "blocks": [
            {
                "drill": block.way.kind,
                "runs": block.runs,
                "mode": block.mode,
                "seconds": block.seconds,
                "reason": reason(block),
                "before": asdict(block.done),
            }
            for block in sitting.blocks
        ],
    }
