"""`blindfield run`: draw, check, conduct, close, debrief."""

from __future__ import annotations

import argparse
import asyncio
import sys
from collections.abc import Callable, Mapping

from blindfield.conduct.checks import check_field
from blindfield.conduct.conductor import Conductor
from blindfield.conduct.loading import START_LEAD_S
from blindfield.conduct.rearming import ECHO_S, latches, rearm_all
from blindfield.console import debrief
from blindfield.console.ask import answer
from blindfield.console.asked import (
    Asked,
    add_searcher_arguments,
    asked_of,
    known_of,
    scenario_of,
)
from blindfield.console.briefing import before_the_start
from blindfield.console.cautions import AT_THE_CLOSE, tick_cautions
from blindfield.console.desk import (
    Desk,
    add_field_argument,
    add_json_argument,
    field_of,
    open_desk,
)
from blindfield.console.follow import followed
from blindfield.console.one_sends import confirmed, end_when_told
from blindfield.console.serving import serve_run
from blindfield.drills.catalogue import DRILLS, shipped
from blindfield.links.keyfile import read_key
from blindfield.model.errors import BlindfieldError, ConfigError, NotReady
from blindfield.model.field import Field
from blindfield.model.ids import run_id_text
from blindfield.model.run_summary import RunSummary
from blindfield.model.scenario import Scenario

COUNTDOWN_S = 10.0
COUNTDOWN_RANGE_S = (START_LEAD_S, 120.0)
REARM = "When all are safe: `blindfield rearm`."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_field_argument(parser)
    add_json_argument(parser)
    parser.add_argument(
        "--drill",
        metavar="KIND",
        help="the kind of problem (default: drawn for this searcher, by what they practised "
        f"least); one of {', '.join(DRILLS)}, or of the field's own drills.toml",
    )
    parser.add_argument(
        "--seed", type=int, help="with --drill: this very problem again; alone: draw by it"
    )
    parser.add_argument(
        "--minutes", type=float, help="time limit (default: the standard's, else 10; at most 15)"
    )
    parser.add_argument(
        "--standard",
        metavar="NAME",
        help="what it is judged by (blindfield standards lists them); technique shows no clock",
    )
    parser.add_argument(
        "--aid", action="append", metavar="NAME", help=f"easier: {', '.join(shipped().aids)}"
    )
    add_searcher_arguments(parser)
    parser.add_argument(
        "--pulses",
        choices=("own", "together", "apart"),
        default="own",
        help="each target's own rhythm, or pulses that coincide or stay apart",
    )
    parser.add_argument(
        "--countdown",
        type=float,
        default=COUNTDOWN_S,
        metavar="S",
        help=f"seconds to walk to the start, 3 to 120 (default {COUNTDOWN_S:g})",
    )
    parser.add_argument(
        "--cautions-read", action="store_true", help="the cautions were read and hold"
    )


def run(options: argparse.Namespace) -> int:
    place = field_of(options)
    asked = asked_of(options, place)
    if options.minutes is not None and not 0.5 <= options.minutes <= 15:
        raise ConfigError(
            f"a time limit of {options.minutes:g} min is out of range.",
            remedy="Choose from 0.5 to 15; the targets fall silent after 20 in any case.",
        )
    if not COUNTDOWN_RANGE_S[0] <= options.countdown <= COUNTDOWN_RANGE_S[1]:
        raise ConfigError(
            f"a countdown of {options.countdown:g} s is out of range.", remedy="Choose 3 to 120."
        )
    read_key(place.key_path)  # without it nothing starts: said before anything is asked
    tick_cautions(ticked=options.cautions_read, as_json=options.json)
    begun: list[Conductor] = []

    async def conduct() -> RunSummary:
        end_when_told()
        async with open_desk(place) as desk:
            _tell(desk, options.json)
            scenario = _drawn(desk, asked, options.json)
            summary = await conduct_run(
                desk,
                scenario,
                quiet=options.json,
                countdown_s=options.countdown,
                begun=begun.append,
            )
            if begun[0].state.knocked and not begun[0].silence_asked and not options.json:
                await asyncio.sleep(ECHO_S)  # echoes raise the counts
                knock.update(await latches(desk.crew))
                if begun[0].silence_asked:
                    knock.clear()  # somebody else silenced the field meanwhile: that one stays
            return summary

    knock: dict[str, int] = {}
    try:
        summary = asyncio.run(conduct())
    except asyncio.CancelledError:
        confirmed(begun)
        raise KeyboardInterrupt from None
    except BlindfieldError:
        confirmed(begun)
        raise
    finally:
        if not options.json and begun:
            print(AT_THE_CLOSE)
    if knock:
        # The field is given back by now: silence is answered at once while somebody thinks.
        _answer_knock(place, knock)
    _show(options, place, summary)
    confirmed(begun)
    return 0


def _tell(desk: Desk, as_json: bool) -> None:
    stream = sys.stderr if as_json else sys.stdout
    for sentence in (*desk.recovered, *map(str, desk.crew.troubles)):
        print(sentence, file=stream)
    for target in desk.crew.absent(desk.place):
        print(f"{target.name}: does not answer and is left out.", file=stream)


def _drawn(desk: Desk, asked: Asked, as_json: bool) -> Scenario:
    """The next problem, on the field as it lies now; from here on the desk knows it so."""
    known = known_of(asked, desk.place, desk.logbook, [m.name for m in desk.crew.targets])
    desk.place = known.built.field
    for sentence in known.to_say(asked):
        print(sentence, file=sys.stderr if as_json else sys.stdout)
    return scenario_of(asked, known)


async def conduct_run(
    desk: Desk,
    scenario: Scenario,
    *,
    quiet: bool = False,
    countdown_s: float = START_LEAD_S,
    begun: Callable[[Conductor], None] = lambda _: None,
) -> RunSummary:
    """One run on an open desk, with the searcher's screen unless `quiet`; its clock begins
    `countdown_s` after the start was told. `begun` is called when the field was found fit and the
    run is about to be loaded."""
    conductor = desk.conductor()
    serve_run(desk, conductor)
    await conductor.prepare()
    checked = await check_field(conductor, scenario)
    if not quiet:
        print(checked)
        print("\n".join(before_the_start(scenario, countdown_s)))
    await asyncio.sleep(countdown_s - START_LEAD_S)
    if conductor.silence_asked:
        raise NotReady("the field was silenced.", remedy=REARM)
    begun(conductor)
    try:
        async with followed(conductor, scenario, show=not quiet):
            summary = await conductor.run(scenario)
    finally:
        for sentence in (*conductor.troubles, *_became_of(conductor)):
            print(sentence, file=sys.stderr if quiet else sys.stdout)
    return summary


def _became_of(conductor: Conductor) -> list[str]:
    """Who is silent after the run (who is not, `confirmed` says), and what was kept."""
    silent = [name for name, r in conductor.silent.items() if not isinstance(r, BlindfieldError)]
    text = [f"Confirmed silent: {', '.join(silent)}."] if silent else []
    kept = ["The run is kept: `blindfield debrief`."] if conductor.summary else []
    if conductor.state.interrupted and conductor.state.started:
        kept.append("If it was silenced, the field stays silent until `blindfield rearm`.")
    return [*text, *kept]


def _answer_knock(place: Field, counts: Mapping[str, int]) -> None:
    """The knock said "I stop". Only a person's answer lifts the silence that it set, and no other
    that came since."""
    print("THE FIELD IS SILENT: somebody knocked on a target.")
    print("A real accident? Leave this: transceivers as the leader says.")
    said = answer("For the next run: finished (f) or stopped (s)? Anything else: it stays silent. ")
    if said[:1] not in ("f", "s"):
        print("The field stays silent until `blindfield rearm`.")
        return

    async def lift() -> dict[str, str]:
        async with open_desk(place) as desk:
            return await rearm_all(place, desk.crew, counts)

    for name, text in asyncio.run(lift()).items():
        if text:
            print(f"{name}: not ready for the next run: {text}")


def _show(options: argparse.Namespace, place: Field, summary: RunSummary) -> None:
    from blindfield.logbook.book import Logbook

    with Logbook.open(place.logbook_path, field_key=None) as logbook:
        debrief.show(logbook, run_id_text(summary.run_id), place, as_json=options.json)
