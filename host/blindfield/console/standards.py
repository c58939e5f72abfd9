"""`blindfield standards`: what runs are judged by, and a closed run held against one."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Mapping
from dataclasses import asdict

from blindfield.console.closed_run import ClosedRun, closed_run
from blindfield.console.desk import add_field_argument, add_json_argument, field_of
from blindfield.console.own_figures import own_attempts
from blindfield.debrief.judged import verdict_json, verdict_lines
from blindfield.debrief.performance import performance_of, ticks_in
from blindfield.debrief.words import whole_text
from blindfield.model.errors import ConfigError
from blindfield.scoring.judge import Verdict, judge
from blindfield.scoring.rotation import rotation, rotation_table
from blindfield.scoring.standards import (
    OWN_FILE,
    WHO_DECIDES,
    Standard,
    shipped,
    standard_named,
    standards_of,
)
from blindfield.scoring.steps import all_steps
from blindfield.scoring.technique import BACK_UP


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("name", nargs="?", metavar="STANDARD", help="explain this one")
    add_field_argument(parser)
    add_json_argument(parser)
    parser.add_argument(
        "--judge", metavar="RUN", help="hold a closed run against it (latest: the last one)"
    )
    parser.add_argument(
        "--rotation",
        nargs="+",
        metavar="NAME",
        help="who searches, observes, keeps time and shovels, run after run, for these people",
    )
    parser.add_argument(
        "--team", action="store_true", help="with --rotation: a leader, searchers and shovellers"
    )
    parser.epilog = (
        f"A file {OWN_FILE} beside field.toml adds standards of your own; the head of the shipped "
        f"one says how. {WHO_DECIDES}"
    )


def run(options: argparse.Namespace) -> int:
    if options.rotation:
        _rotation(options)
    elif options.judge is not None:
        _judge(options)
    else:
        _explain(options, _known(options))
    return 0


def _known(options: argparse.Namespace) -> Mapping[str, Standard]:
    """With the field's own; the shipped ones where no field is named and none is here."""
    try:
        place = field_of(options)
    except ConfigError:
        if options.field is not None:
            raise
        return shipped()
    return standards_of(place.folder)


def _rotation(options: argparse.Namespace) -> None:
    if options.json:
        print(json.dumps(rotation(options.rotation, team=options.team), indent=2))
    else:
        print(rotation_table(options.rotation, team=options.team))


def _explain(options: argparse.Namespace, known: Mapping[str, Standard]) -> None:
    chosen = list(known.values()) if options.name is None else [standard_named(options.name, known)]
    if options.json:
        print(json.dumps([asdict(one) for one in chosen], indent=2, ensure_ascii=False))
        return
    if options.name is not None:
        print("\n".join(explained(chosen[0])))
        return
    width = max(map(len, known))
    for one in chosen:
        print(f"{one.name:<{width}}  {one.title}")
    print(WHO_DECIDES)


def explained(one: Standard) -> Iterator[str]:
    """A standard in plain lines."""
    number = "1 target" if one.targets == 1 else f"{one.targets} targets"
    told = "how many is told" if one.told else "how many is not told"
    size = one.target_size_cm
    kind = one.target_kind + ("" if size is None else " of {:g} x {:g} x {:g} cm".format(*size))
    low_m, high_m = one.depth_m
    yield f"{one.title} ({one.name})"
    yield f"Buried      {number} ({told}), {kind}, {low_m:g} to {high_m:g} m deep"
    area = "{:g} m x {:g} m".format(*one.area_m)
    heard = "a signal is heard" if one.starts_with_signal else "no signal is heard yet"
    yield f"Area        {area}; at the start {heard}"
    yield from _clock_lines(one)
    off = "may be switched off" if one.switch_off else "stays on"
    yield f"Found one   {off}"
    yield f"Searcher    {one.team}"
    for head, names in (("Required", one.required_steps), ("Fails", one.fail_if_missed)):
        if names:
            missed = " missed" if head == "Fails" else ""
            yield f"{head:<12}{', '.join(all_steps()[name].title for name in names)}{missed}"
    if one.first_strike_by_s is not None:
        yield f"Fails       nothing found in {whole_text(one.first_strike_by_s)}"
    if one.strays_allowed is not None:
        yield f"Fails       more than {one.strays_allowed} strikes or holes where nothing sends"
    yield f"Source      {one.source}"
    yield WHO_DECIDES


def _clock_lines(one: Standard) -> Iterator[str]:
    end = "the last strike" if one.ends_on == "last strike" else "the last one dug out"
    if one.limit_s is None:
        yield f"Clock       none is shown; it ends on {end}"
        yield f"            {BACK_UP}"
        return
    yield f"Clock       {whole_text(one.limit_s)} from {one.clock_starts} to {end}"


def _judge(options: argparse.Namespace) -> None:
    which = None if options.judge == "latest" else options.judge
    with closed_run(options, which) as here:
        known = standards_of(here.place.folder)
        standard = _for_run(options.name, here, known)
        verdict = judged(here, standard, known)
    if options.json:
        print(json.dumps(verdict_json(verdict), indent=2, ensure_ascii=False))
    else:
        print("\n".join(verdict_lines(verdict)))


def _for_run(name: str | None, here: ClosedRun, known: Mapping[str, Standard]) -> Standard:
    """The one named, else the one that the run was made for."""
    name = name or here.timeline.standard
    if name is None:
        raise ConfigError(
            "that run was made for no standard.",
            remedy=f"Name one: {', '.join(known)}.",
        )
    return standard_named(name, known)


def judged(here: ClosedRun, standard: Standard, known: Mapping[str, Standard]) -> Verdict:
    """A closed run held against a standard, with the ticks and this searcher's own dig times."""
    area_m = (here.place.width_m, here.place.height_m)
    return judge(
        standard,
        performance_of(here.timeline, here.events, area_m=area_m),
        ticks_in(here.timeline, here.events),
        own_digs_s=own_digs_s(here, known),
    )


def own_digs_s(here: ClosedRun, known: Mapping[str, Standard]) -> list[float]:
    """What each hole took this searcher in their latest runs with digging; one that was broken off
    is left out."""
    summary = here.record.summary
    searcher = "" if summary is None else summary.searcher
    attempts = own_attempts(here.logbook, here.place, searcher, known).attempts
    return [
        dig.seconds
        for one in attempts
        if one.work != "search only" and one.outcome not in ("void", "interrupted")
        for dig in one.digs
        if not dig.cut
    ]
