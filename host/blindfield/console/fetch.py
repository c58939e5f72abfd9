"""`blindfield fetch`: bring every target home, one signal at a time, and count them in."""

from __future__ import annotations

import argparse
import asyncio
import json
import sys
from typing import Any

from blindfield.conduct.checks import BATTERY_LOW_V
from blindfield.conduct.fetching import WORDS, Fetching
from blindfield.conduct.roll import Roll
from blindfield.conduct.single import Single
from blindfield.conduct.taped import place_text
from blindfield.console.cautions import AT_THE_CLOSE, tick_cautions
from blindfield.console.desk import add_field_argument, add_json_argument, field_of
from blindfield.console.one_sends import (
    Tell,
    add_cautions_argument,
    confirmed,
    lying,
    one_sends,
    teller,
)
from blindfield.field.as_built import AsBuilt
from blindfield.model.errors import BlindfieldError, ConfigError
from blindfield.model.field import Field, Point

DEVICE_STOPS_V = 2.0  # a target begins no sending below it


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.epilog = (
        "Shows where targets lie: for whoever digs them out, not for whoever still searches. "
        "It is no run and is not scored. What is counted in stays counted: `fetch` again goes on "
        "with those that are left."
    )
    add_field_argument(parser)
    add_json_argument(parser)
    add_cautions_argument(parser)
    parser.add_argument(
        "--from", dest="start", metavar="START", help="start point where you stand (default: first)"
    )
    parser.add_argument("--by", metavar="NAME", help="who counts them in, kept in the logbook")


def run(options: argparse.Namespace) -> int:
    place = field_of(options)
    built = lying(place)
    roll = Roll(built, _stand(place, options.start))
    tell = teller(as_json=options.json)
    if not roll.out:
        tell("Every target of this field is in already.")
        return _report(options, roll, {}, tell)
    tick_cautions(ticked=options.cautions_read, as_json=options.json)
    begun: list[Single] = []
    silent: dict[str, str] = {}
    try:
        asyncio.run(_fetch(built, roll, options.by, begun, silent, tell))
    except (BlindfieldError, asyncio.CancelledError) as error:
        _report(options, roll, silent, tell)
        confirmed(begun)
        if isinstance(error, asyncio.CancelledError):
            raise KeyboardInterrupt from None
        raise
    status = _report(options, roll, silent, tell)
    confirmed(begun)
    return status


def _stand(place: Field, name: str | None) -> Point:
    """Where the person stands: a start point, where the post is too, else the first peg."""
    points = {point.name.casefold(): point for point in place.start_points}
    if name is None:
        return next(((p.x_m, p.y_m) for p in points.values()), (0.0, 0.0))
    if name.casefold() not in points:
        known = ", ".join(point.name for point in place.start_points) or "none"
        raise ConfigError(f'There is no start point "{name}".', remedy=f"There are: {known}.")
    point = points[name.casefold()]
    return point.x_m, point.y_m


async def _fetch(
    built: AsBuilt,
    roll: Roll,
    author: str | None,
    begun: list[Single],
    silent: dict[str, str],
    tell: Tell,
) -> None:
    async with one_sends(built.field, begun, tell) as (_, single):
        roll.heard |= {member.name for member in single.crew.targets}
        _tell_beginning(roll, single, await single.batteries_v(), tell)
        await Fetching(single, roll, tell, author).bring_home()
        await single.hush()
        silent |= await single.field_silent()


def _tell_beginning(roll: Roll, single: Single, volts: dict[str, float], tell: Tell) -> None:
    for sentence in single.troubles:
        tell(sentence)
    tell(f"Targets out: {len(roll.out)}; in: {len(roll.before)}. One sends at a time.")
    if volts:
        lowest = min(volts, key=lambda name: volts[name])
        tell(f"Lowest battery: {lowest}, {volts[lowest]:.2f} V.")
    tell(
        f"Runs are refused below {BATTERY_LOW_V:.1f} V, so that a target can still send for this "
        f"down to {DEVICE_STOPS_V:.1f} V."
    )
    for target in roll.out:
        if target.name not in roll.heard:
            tell(f"{target.name} does not answer: it comes last, by its taped place.")
    for one in roll.built.targets:
        if one.lifted and one.target.state.lies:
            tell(f"{one.name} felt that it was lifted while nobody counted. In? Type its name.")
    tell(WORDS)


def _report(options: argparse.Namespace, roll: Roll, silent: dict[str, str], tell: Tell) -> int:
    tell("")
    tell(roll.sentence())
    for target in roll.missing:
        tell(f"MISSING: {target.name}. {place_text(target)}.")
    if roll.missing:
        tell("Nobody goes home yet, or flag the places: `blindfield fetch` goes on with these.")
    elif roll.out:
        tell(f"All {len(roll.out)} that were out are in. Take the post and the pegs too.")
    _tell_silence(silent, tell)
    _tell_pits(roll, tell)
    tell(AT_THE_CLOSE)
    if options.json:
        print(json.dumps(_as_json(roll, silent), indent=2), file=sys.stdout)
    return 1 if roll.missing else 0


def _tell_silence(silent: dict[str, str], tell: Tell) -> None:
    quiet = [name for name, text in silent.items() if not text]
    if quiet:
        tell(f"Field checked, confirmed silent: {', '.join(quiet)}.")
    for name, text in silent.items():
        if text:
            tell(f"Now without an answer: {name}. It was silent when it was heard last. ({text})")


def _tell_pits(roll: Roll, tell: Tell) -> None:
    pits = [roll.built.field.target_named(name) for name in roll.home]
    if pits:
        places = "; ".join(f"{t.name} at {t.x_m:.1f} m, {t.y_m:.1f} m" for t in pits)
        tell(f"Pits to fill or flag now: {places}.")


def _as_json(roll: Roll, silent: dict[str, str]) -> dict[str, Any]:
    return {
        "out": [target.name for target in roll.out],
        "in_before": list(roll.before),
        "counted_in": [{"name": name, "means": means} for name, means in roll.home.items()],
        "missing": [
            {"name": t.name, "x_m": t.x_m, "y_m": t.y_m, "depth_m": t.depth_m} for t in roll.missing
        ],
        "silent": [name for name, text in silent.items() if not text],
        "no_answer": [name for name, text in silent.items() if text],
    }
