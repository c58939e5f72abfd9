"""`blindfield tick STEP`: an observer, or the searcher afterwards, ticks the steps of a search."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Mapping
from typing import Any

from blindfield.conduct.owner import ask_owner
from blindfield.console.closed_run import ClosedRun, author_of, closed_run, run_s_of
from blindfield.console.desk import add_field_argument, add_json_argument, field_of
from blindfield.console.serving_ticks import OBSERVER, SEARCHER, said_text
from blindfield.console.tapping import tap_along
from blindfield.debrief.performance import performance_of, ticks_in
from blindfield.debrief.words import whole_text
from blindfield.model.errors import ConfigError
from blindfield.model.ids import run_id_text
from blindfield.scoring.review import Review, Row, review
from blindfield.scoring.steps import PHASES, Circumstances, Step, all_steps, step_named
from blindfield.scoring.technique import praise

TIMEOUT_S = 10.0
NO_SUCH_COMMAND = "No such command here."  # what an owner without a run says
_NEXT = "One line for each step; what nobody saw stays unknown."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("steps", nargs="*", metavar="STEP", help="which (all: --list)")
    add_field_argument(parser)
    add_json_argument(parser)
    parser.add_argument("--list", action="store_true", help="the steps, and what to look at")
    parser.add_argument(
        "--target",
        metavar="T",
        help="the target concerned: its name, or 1 for the first found, 2 for the second ... "
        "(default: the one that is searched for or was just found; afterwards: each)",
    )
    parser.add_argument(
        "--run", metavar="RUN", help="a closed run (default: the one under way, else the latest)"
    )
    value = parser.add_mutually_exclusive_group()
    value.add_argument("--missed", action="store_true", help="it was not done")
    value.add_argument(
        "--put-right", action="store_true", help="stopped, backed up, done right: a plus"
    )
    value.add_argument("--not-applicable", action="store_true", help="it did not come to that")
    parser.add_argument("--at", metavar="M:SS", help="when, since the start; afterwards")
    parser.add_argument(
        "--self", action="store_true", help="the searcher says so: kept as a self-report"
    )
    parser.add_argument("--by", metavar="NAME", help="who ticks (default: who is logged in)")
    parser.add_argument(
        "--from-recording",
        action="store_true",
        help="play a recording of the called distances and press Enter at each change of phase",
    )
    parser.epilog = f"Without a step: what was ticked, and which phases nobody saw. {_NEXT}"


def run(options: argparse.Namespace) -> int:
    if options.list:
        _list(options)
        return 0
    steps = [step_named(name) for name in options.steps]
    if options.from_recording:
        _recording(options, steps)
    elif steps and options.run is None and _live(options, steps):
        return 0
    else:
        _afterwards(options, steps)
    return 0


def _live(options: argparse.Namespace, steps: list[Step]) -> bool:
    """Whether a run is under way and took the ticks."""
    if options.at is not None:
        return False
    place = field_of(options)
    said = []
    for step in steps:
        wanted = {**_data(options), "step": step.name}
        try:
            answer = ask_owner(place.folder, "tick", timeout_s=TIMEOUT_S, **wanted)
        except ConfigError as error:
            if error.what != NO_SUCH_COMMAND:
                raise
            answer = None  # the field is in use, but not by a run
        if answer is None:
            return False
        said.append(str(answer["said"]))
    print(json.dumps({"said": said}) if options.json else "\n".join(said))
    return True


def _data(options: argparse.Namespace) -> dict[str, Any]:
    values = {"missed": options.missed, "put right": options.put_right}
    values["not applicable"] = options.not_applicable
    target = options.target
    if target is not None and target.strip().isdigit():
        target = f"#{int(target)}"
    return {
        "target": target,
        "value": next((value for value, given in values.items() if given), "done"),
        "author": author_of(options),
        "by": SEARCHER if options.self else OBSERVER,
    }


def _who(options: argparse.Namespace, here: ClosedRun) -> dict[str, str]:
    """Who ticks a closed run; the searcher, where they say so of themselves, is known by name."""
    summary = here.record.summary
    searcher = "" if summary is None else summary.searcher
    own = options.self and not options.by and searcher
    by = SEARCHER if options.self else OBSERVER
    return {"author": searcher if own else author_of(options), "by": by}


def _afterwards(options: argparse.Namespace, steps: list[Step]) -> None:
    if options.at is not None and not steps:
        raise ConfigError("--at goes with a step.", remedy="Say which.")
    with closed_run(options, options.run) as here:
        data = {**_data(options), **_who(options, here)}
        if data["target"] is not None and not data["target"].startswith("#"):
            data["target"] = here.target_named(data["target"]).name
        at = {} if options.at is None else {"run_s": run_s_of(options.at)}
        here.keep(
            [{**data, **at, "step": step.name, "means": "afterwards"} for step in steps], "tick"
        )
        here = here.reread()
        said = [said_text(step.title, data) for step in steps]
        _show(options, here, said)


def _recording(options: argparse.Namespace, steps: list[Step]) -> None:
    if steps:
        raise ConfigError("--from-recording goes without a step.", remedy="Tick steps apart.")
    with closed_run(options, options.run) as here:
        for sentence in tap_along(here, _who(options, here)):
            print(sentence)


def reviewed(here: ClosedRun) -> Review:
    """What was ticked of a run, held against the steps that belong to it."""
    made = performance_of(here.timeline, here.events)
    found = {find.target: find.run_s.high for find in here.timeline.finds}
    names = sorted((one.target for one in made.found), key=lambda name: found.get(name, 1e9))
    circumstances = Circumstances(targets=len(names), work=made.work, marking=made.marking)
    return review(circumstances, ticks_in(here.timeline, here.events), names)


def _show(options: argparse.Namespace, here: ClosedRun, said: list[str]) -> None:
    seen = reviewed(here)
    if options.json:
        print(json.dumps(_as_json(here, seen, said), indent=2, ensure_ascii=False))
        return
    for sentence in said:
        print(f"{sentence} (run {here.label})")
    if not said:
        print("\n".join(row_lines(seen)))
    print("\n".join(unseen_lines(seen)))


def row_lines(seen: Review) -> Iterator[str]:
    """Each step that somebody ticked, by phase."""
    for row in seen.rows:
        if row.tick is not None:
            yield f"{row.step.phase:<18} {row.state:<15} {row.step.title}{_beside(row)}"
    yield from praise(seen)


def _beside(row: Row) -> str:
    assert row.tick is not None
    at = "" if row.tick.run_s is None else f" at {whole_text(row.tick.run_s)}"
    of = "" if row.target is None else f" ({row.target})"
    who = " [self-report]" if row.tick.self_report else ""
    return f"{of}{at}{who}"


def unseen_lines(seen: Review) -> Iterator[str]:
    """What a soloist, above all, has to be told."""
    if seen.self_only:
        yield f"By the searcher's own report alone: {', '.join(seen.self_only)}."
    if seen.unseen:
        yield f"Nobody saw: {', '.join(seen.unseen)}. Nothing is said of these phases."


def _as_json(here: ClosedRun, seen: Review, said: list[str]) -> dict[str, Any]:
    return {
        "run": run_id_text(here.record.run_id),
        "said": said,
        "right": seen.count("right", "put right"),
        "seen": seen.seen,
        "phases_unseen": list(seen.unseen),
        "phases_self_report_only": list(seen.self_only),
        "steps": [
            {"step": row.step.name, "target": row.target, "state": row.state} for row in seen.rows
        ],
    }


def _list(options: argparse.Namespace) -> None:
    steps = list(all_steps().values())
    if options.json:
        print(json.dumps([_step_json(step) for step in steps], indent=2))
        return
    for phase in PHASES:
        print(f"{phase[0].upper()}{phase[1:]}")
        for step in steps:
            if step.phase == phase:
                print(f"  {step.name:<22} {step.title}: {step.look}")


def _step_json(step: Step) -> Mapping[str, Any]:
    return {**vars(step), "before": list(step.before), "after": list(step.after)}
