"""`blindfield par`: the times of a modelled searcher. Always a model, never a name or a place."""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from blindfield.console.desk import add_field_argument, add_json_argument, field_of
from blindfield.drills.catalogue import DRILLS, catalogue_of
from blindfield.field.settings import FILE_NAME
from blindfield.model.errors import ConfigError, NotReady
from blindfield.model.field import Field

if TYPE_CHECKING:
    from blindfield.console.own_legs import Walked
    from blindfield.searcher.par import Par
    from blindfield.searcher.profiles import Profile
    from blindfield.searcher.refit import Refit
    from blindfield.searcher.values import Problem

DEFAULT_DRILL, DEFAULT_SEED, DEFAULT_COUNT = "staggered", 1, 500
REFIT_COUNT = 200  # for each problem in the logbook: their errors even out
MINUTES_RANGE = (0.5, 15.0)
COUNT_RANGE = (100, 20_000)
ME, ME_IS_FROM = "me", "practised"
UNPROVEN = "A model, not people: most of what it knows of searchers is common practice, no source."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("which", nargs="?", metavar="RUN", help="a closed run beside its par")
    add_field_argument(parser)
    add_json_argument(parser)
    parser.add_argument("--drill", metavar="KIND", help=f"one of {', '.join(DRILLS)}")
    parser.add_argument("--seed", type=int, help=f"which draw of it (default {DEFAULT_SEED})")
    parser.add_argument("--minutes", type=float, help="time limit (default 10)")
    parser.add_argument(
        "--profile",
        default=ME_IS_FROM,
        metavar="WHO",
        help="new, practised (default), expert, or me: the pace of this logbook's runs",
    )
    parser.add_argument(
        "--count", type=int, default=DEFAULT_COUNT, help=f"searches (default {DEFAULT_COUNT})"
    )
    parser.add_argument("--dig", action="store_true", help="until all are dug out")
    parser.add_argument(
        "--shovellers", type=int, metavar="N", help="how many dig (default: the profile's, one)"
    )
    parser.add_argument("--no-marking", action="store_true", help="without marking found signals")
    parser.add_argument(
        "--refit", action="store_true", help="hold the model against this logbook's runs"
    )


@dataclass(frozen=True)
class Asked:
    """The problem, in words what it is, and the run that was made of it."""

    problem: Problem
    about: str
    data: dict[str, Any]
    run: Walked | None = None


def run(options: argparse.Namespace) -> int:
    _check(options)
    place = _place(options)
    if options.refit:
        return _show_refit(options, place)
    asked = _asked(options, place)
    base, refit = _searcher(options, place)
    par = _par(options, asked.problem, base, refit)
    if options.json:
        from blindfield.console.par_json import par_json

        data = par_json(par, asked.data, asked.run, refit)
        print(json.dumps(data, indent=2, allow_nan=False))
    else:
        _print(asked, par, refit)
    return 0


def _check(options: argparse.Namespace) -> None:
    least, most = COUNT_RANGE
    if not least <= options.count <= most:
        raise ConfigError(
            f"{options.count} searches are out of range.", remedy=f"Choose {least} to {most}."
        )
    least_min, most_min = MINUTES_RANGE
    if options.minutes is not None and not least_min <= options.minutes <= most_min:
        raise ConfigError(
            f"a time limit of {options.minutes:g} min is out of range.",
            remedy=f"Choose from {least_min:g} to {most_min:g}.",
        )
    fixed = [name for name in ("drill", "seed", "minutes") if getattr(options, name) is not None]
    fixed += ["dig"] if options.dig else []
    if (options.which is not None or options.refit) and fixed:
        raise ConfigError(
            f"--{fixed[0]} does not go with a run that was made: its problem is known.",
            remedy="Leave it away.",
        )
    if options.which is not None and options.refit:
        raise ConfigError("--refit reads all runs.", remedy="Leave RUN away.")


def _place(options: argparse.Namespace) -> Field | None:
    """The field named or the one in the current folder; None where there is none."""
    needed = options.which or options.refit or options.drill or options.profile == ME
    needed = needed or options.seed is not None
    if options.field is None and not needed and not Path(FILE_NAME).is_file():
        return None
    return field_of(options)


def _asked(options: argparse.Namespace, place: Field | None) -> Asked:
    if place is None:
        return _example(options)
    return _drill(options, place) if options.which is None else _run(options, place)


def _example(options: argparse.Namespace) -> Asked:
    from blindfield.searcher.problem import EXAMPLE

    limit_s = EXAMPLE.time_limit_s if options.minutes is None else options.minutes * 60
    problem = replace(EXAMPLE, time_limit_s=limit_s)
    about = f"No field here: the built-in example, {EXAMPLE.title}."
    return Asked(_with(options, problem), about, {"kind": "example", "title": EXAMPLE.title})


def _with(options: argparse.Namespace, problem: Problem) -> Problem:
    return replace(
        problem,
        end_on="dug_out" if options.dig else problem.end_on,
        marking_allowed=problem.marking_allowed and not options.no_marking,
    )


def _drill(options: argparse.Namespace, place: Field) -> Asked:
    from blindfield.console.one_sends import lying
    from blindfield.drills.draw import draw
    from blindfield.searcher.problem import problem_of

    drill = catalogue_of(place.folder).drill_named(options.drill or DEFAULT_DRILL)
    place = lying(place).field
    seed = DEFAULT_SEED if options.seed is None else options.seed
    limit_s = 60 * (10.0 if options.minutes is None else options.minutes)
    scenario = draw(place, drill, seed=seed, time_limit_s=limit_s)
    try:
        problem = problem_of(scenario, place)
    except ConfigError:
        raise ConfigError(  # without the name of who is in play
            "this problem has a target that cannot be modelled.",
            remedy="Every depth in field.toml must be above zero.",
        ) from None
    about = f"{place.name}: {drill.title}, as drawn with --drill {drill.kind} --seed {seed}."
    data = {"kind": "drill", "field": place.name, "drill": drill.kind, "seed": seed}
    return Asked(_with(options, problem), about, data)


def _run(options: argparse.Namespace, place: Field) -> Asked:
    from blindfield.console.own_legs import walked
    from blindfield.logbook.book import Logbook
    from blindfield.model.ids import run_id_text

    with Logbook.open(place.logbook_path, field_key=None, create=False) as logbook:
        record = logbook.find_run(options.which)
        if record.is_open:
            raise NotReady("this run is not closed yet.", remedy="It stays blind until then.")
        events = logbook.events_of(record.run_id)
    made = walked(record, events, place, may_mark=not options.no_marking)
    name = run_id_text(record.run_id)
    about = f"{place.name}: {made.timeline.title}, run {name}."
    return Asked(made.problem, about, {"kind": "run", "field": place.name, "run": name}, made)


def _searcher(options: argparse.Namespace, place: Field | None) -> tuple[Profile, Refit | None]:
    """The profile, and for `me` what this logbook's runs make of it."""
    from blindfield.searcher.profiles import PROFILES, profile_named

    if options.profile == ME:
        assert place is not None
        base = profile_named(ME_IS_FROM)
        return _with_shovellers(base, options), _refit(options, place, base)
    if options.profile not in PROFILES:
        raise ConfigError(
            f"there is no profile {options.profile!r}.",
            remedy=f"Choose from {', '.join((*PROFILES, ME))}.",
        )
    return _with_shovellers(profile_named(options.profile), options), None


def _with_shovellers(profile: Profile, options: argparse.Namespace) -> Profile:
    return (
        profile if options.shovellers is None else replace(profile, shovellers=options.shovellers)
    )


def _refit(options: argparse.Namespace, place: Field, base: Profile) -> Refit:
    from blindfield.console.own_legs import own_legs
    from blindfield.logbook.book import Logbook
    from blindfield.searcher.cache import ParCache
    from blindfield.searcher.refit import refit

    with Logbook.open(place.logbook_path, field_key=None, create=False) as logbook:
        legs, left_out = own_legs(logbook, place)
    if left_out and not options.json:
        runs = "1 run" if left_out == 1 else f"{left_out} runs"
        print(f"Left out: {runs} whose problem no model can walk.")
    return refit(legs, base, count=REFIT_COUNT, cache=ParCache())


def _par(options: argparse.Namespace, problem: Problem, base: Profile, refit: Refit | None) -> Par:
    from blindfield.searcher.cache import ParCache
    from blindfield.searcher.par import par_of

    pace = None if refit is None else refit.pace
    return par_of(problem, base, count=options.count, cache=ParCache(), pace=pace)


def _print(asked: Asked, par: Par, refit: Refit | None) -> None:
    from rich.console import Console

    from blindfield.console.par_tables import FASTER, par_lines, par_table, refit_lines

    console = Console()
    who = "searcher at the pace of this logbook" if refit else f"{par.profile} searcher"
    console.print(f"Par of a modelled {who}.", style="bold", highlight=False)
    for line in (asked.about, *_conditions(asked.problem)):
        console.print(line, highlight=False)
    console.print()
    console.print(par_table(par, asked.run))
    console.print()
    beside = [FASTER] if asked.run else []
    for line in (*par_lines(par), *beside, *(refit_lines(refit)[:1] if refit else ()), UNPROVEN):
        console.print(line, highlight=False)


def _conditions(problem: Problem) -> list[str]:
    said = ["It ends when all are dug out."] if problem.end_on == "dug_out" else []
    return said + ([] if problem.marking_allowed else ["Found signals are not marked."])


def _show_refit(options: argparse.Namespace, place: Field | None) -> int:
    from blindfield.searcher.profiles import profile_named

    assert place is not None
    base = profile_named(ME_IS_FROM if options.profile == ME else options.profile)
    refit = _refit(options, place, base)
    if options.json:
        from blindfield.console.par_json import refit_json

        print(json.dumps(refit_json(refit), indent=2, allow_nan=False))
        return 0
    from rich.console import Console

    from blindfield.console.par_tables import refit_lines, refit_table

    console = Console()
    console.print("Model against people.", style="bold")
    console.print(refit_table(refit))
    for line in (*refit_lines(refit), UNPROVEN):
        console.print(line, highlight=False)
    return 0
