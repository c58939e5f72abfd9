"""`blindfield preview [RUN]`: a picture of one modelled search, for whoever plans."""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path

from blindfield.console.blind import refuse_while_open
from blindfield.console.desk import add_field_argument, field_of
from blindfield.console.one_sends import lying
from blindfield.console.own_legs import walked
from blindfield.debrief.pictures import check_name, draw_picture, save, with_antennas_known
from blindfield.debrief.values import Timeline
from blindfield.debrief.words import called, whole_text
from blindfield.drills.catalogue import DRILLS, catalogue_of
from blindfield.drills.draw import draw
from blindfield.field.settings import FILE_NAME
from blindfield.logbook.book import Logbook
from blindfield.model.errors import NotReady
from blindfield.model.field import Field
from blindfield.model.ids import run_id_text
from blindfield.searcher.problem import EXAMPLE, problem_of
from blindfield.searcher.profiles import PROFILES, profile_named
from blindfield.searcher.values import Problem, Trace
from blindfield.searcher.walk import trace

DEFAULT_FILE, DEFAULT_PROFILE, DEFAULT_DRILL = "preview.svg", "practised", "staggered"
DEFAULT_SEED = 1
TIME_LIMIT_S = 600.0

SHOWS = (
    "It shows the field from above with flux lines, displayed distances, targets and one modelled "
    "path; each find from near; the displayed distance over the run."
)
FOR_PLANNERS = (
    "The picture shows where targets lie: it is for whoever plans, not for whoever searches. "
    "Without a field it is of a built-in example. While a run is open nothing of its field is "
    "shown: it stays blind until it is closed."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.epilog = FOR_PLANNERS
    parser.add_argument(
        "which", nargs="?", metavar="RUN", help="a closed run, its finds beside the model's"
    )
    add_field_argument(parser)
    parser.add_argument(
        "--drill", metavar="KIND", help=f"draw one on the field: {', '.join(DRILLS)}"
    )
    parser.add_argument(
        "--seed", type=int, default=DEFAULT_SEED, help="which draw, and which searcher (default 1)"
    )
    parser.add_argument(
        "--profile",
        default=DEFAULT_PROFILE,
        metavar="WHO",
        help=f"{', '.join(PROFILES)} (default {DEFAULT_PROFILE})",
    )
    parser.add_argument(
        "--picture",
        default=DEFAULT_FILE,
        metavar="FILE",
        help=f"where to write it, .svg or .png (default {DEFAULT_FILE})",
    )


@dataclass(frozen=True)
class _Asked:
    """The problem, what it is in words, the run that was made of it, the field that it is on."""

    problem: Problem
    about: str
    yours: Timeline | None = None
    place: Field | None = None


def run(options: argparse.Namespace) -> int:
    path = Path(options.picture).expanduser()
    check_name(path)
    _draw(_asked(options), path, options.profile, options.seed)
    return 0


def draw_run(place: Field, which: str | None, file: str) -> None:
    """The picture of a closed run beside the model (None: the last run), written to `file`.

    Raises NotReady while a run is open, ConfigError for a file or a problem that cannot serve.
    """
    path = Path(file).expanduser()
    check_name(path)
    _draw(_of_run(place, which), path, DEFAULT_PROFILE, DEFAULT_SEED)


def _draw(asked: _Asked, path: Path, profile_name: str, seed: int) -> None:
    profile = profile_named(profile_name)
    problem = with_antennas_known(asked.problem, seed)
    search = trace(problem, profile, seed=seed)
    searcher = f"profile {profile.name}, seed {seed}"
    picture = draw_picture(problem, search, searcher=searcher, yours=asked.yours, place=asked.place)
    save(picture, path)
    print(f"Wrote {path}: {asked.about}")
    print(SHOWS)
    print(f"{_finds(problem, search)} ({searcher}: a model, not people)")
    for line in _unknown(asked.problem):
        print(line)


def _asked(options: argparse.Namespace) -> _Asked:
    needed = options.which is not None or options.drill is not None
    if options.field is None and not needed and not Path(FILE_NAME).is_file():
        return _Asked(EXAMPLE, f"the built-in example, {EXAMPLE.title}.")
    place = field_of(options)
    if options.which is not None:
        return _of_run(place, options.which)
    return _of_drill(place, options.drill or DEFAULT_DRILL, options.seed)


def _of_drill(place: Field, kind: str, seed: int) -> _Asked:
    drill = catalogue_of(place.folder).drill_named(kind)
    place = lying(place).field
    scenario = draw(place, drill, seed=seed, time_limit_s=TIME_LIMIT_S)
    about = f"{place.name}, as drawn with --drill {kind} --seed {seed}. Not for who searches it."
    return _Asked(problem_of(scenario, place), about, place=place)


def _of_run(place: Field, which: str | None) -> _Asked:
    with Logbook.open(place.logbook_path, field_key=None, create=False) as logbook:
        record = logbook.find_run(which)
        if record.is_open:
            raise NotReady("this run is not closed yet.", remedy="It stays blind until then.")
        refuse_while_open(logbook)  # whoever searches now must not be shown where targets lie
        made = walked(record, logbook.events_of(record.run_id), place)
    about = f"{place.name}, run {run_id_text(record.run_id)} beside the model."
    return _Asked(made.problem, about, made.timeline, place)


def _finds(problem: Problem, search: Trace) -> str:
    found = sorted(search.found.items(), key=lambda one: one[1])
    parts = [f"{called(name)} at {whole_text(run_s)}" for name, run_s in found]
    missed = [called(one.name) for one in problem.sources if one.name not in search.found]
    told = f"The model found {', '.join(parts) or 'nothing'}"
    return f"{told}, and not {', '.join(missed)}." if parts and missed else f"{told}."


def _unknown(problem: Problem) -> list[str]:
    names = [
        called(one.name)
        for one in problem.sources
        if one.azimuth_deg is None or one.tilt_deg is None
    ]
    if not names:
        return []
    return [f"How the antenna lies was not noted for {', '.join(names)}: drawn at random."]
