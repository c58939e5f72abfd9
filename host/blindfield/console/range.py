"""`blindfield range`: how far a searcher hears a target, and how wide a search strip may be."""

from __future__ import annotations

import argparse
import asyncio
import json
from collections.abc import Sequence
from typing import Any

from blindfield.conduct.range_walk import RangeWalk
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
from blindfield.field.receive_range import (
    TAUGHT_STRIPS_M,
    Earlier,
    Pass,
    ReceiveRange,
    a_name,
    earlier,
    event_data,
    newest,
    read_pass,
    receive_range,
)
from blindfield.logbook.book import Logbook
from blindfield.model.errors import BlindfieldError, ConfigError, NotReady
from blindfield.model.events import Event, utc_text
from blindfield.model.field import Field, Target
from blindfield.model.ids import new_host_epoch


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.epilog = (
        "One target sends while you walk away from it and back, three times or more. Shows where "
        "that target lies. With --reading nothing sends: it keeps what was walked before."
    )
    add_field_argument(parser)
    add_json_argument(parser)
    add_cautions_argument(parser)
    parser.add_argument("--target", metavar="NAME", help="the one that sends (default: nearest)")
    parser.add_argument("--searcher", default="searcher", metavar="NAME", help="who walks")
    parser.add_argument(
        "--transceiver", default="transceiver", metavar="NAME", help="with which transceiver"
    )
    parser.add_argument(
        "--reading",
        action="append",
        default=[],
        metavar="LOST/FOUND",
        help="a pass that was walked before, metres; once for each, three at least",
    )
    parser.add_argument("--list", action="store_true", help="show the results kept so far")


def run(options: argparse.Namespace) -> int:
    place = field_of(options)
    tell = teller(as_json=options.json)
    if options.list:
        return _show_kept(options, place)
    names = a_name(options.searcher, "searcher"), a_name(options.transceiver, "transceiver")
    built = lying(place)
    target = place.target_named(options.target).name if options.target else None
    begun: list[Single] = []
    if options.reading:
        passes = _passes_of(options.reading)
    else:
        tick_cautions(ticked=options.cautions_read, as_json=options.json)
        target, passes = _walked(built, target, begun, tell)
    found = receive_range(*names, passes)
    before = _keep(place, found, target)
    if options.json:
        print(json.dumps(_as_json(found), indent=2))
    else:
        _show(found, before)
    confirmed(begun)
    return 0


def _passes_of(readings: Sequence[str]) -> list[Pass]:
    passes: list[Pass] = []
    for text in readings:
        passes.append(read_pass(text, passes[-1] if passes else None))
    return passes


def _walked(
    built: AsBuilt, name: str | None, begun: list[Single], tell: Tell
) -> tuple[str, list[Pass]]:
    """The target that sent, and the passes. Whether it is silent then, the Single in `begun`
    knows."""

    async def walk() -> tuple[str, list[Pass]]:
        async with one_sends(built.field, begun, tell) as (_, single):
            target = _chosen(built, single, name)
            tell(f"Target {target.name}: {place_text(target)}. {_along(target)}")
            return target.name, await RangeWalk(single, target, tell).walk()

    try:
        return asyncio.run(walk())
    except asyncio.CancelledError:
        confirmed(begun)
        raise KeyboardInterrupt from None
    except BlindfieldError:
        confirmed(begun)
        raise
    finally:
        tell(AT_THE_CLOSE)


def _chosen(built: AsBuilt, single: Single, name: str | None) -> Target:
    """The one asked for, else the nearest to the first start point of those that answer."""
    if name is not None:
        return built.field.target_named(name)
    starts = built.field.start_points
    here_m = (starts[0].x_m, starts[0].y_m) if starts else (0.0, 0.0)
    roll = Roll(built, here_m, heard={member.name for member in single.crew.targets})
    one = roll.next()
    if one is None or one.name not in roll.heard:
        troubles = " ".join(single.troubles)
        raise NotReady(
            f"no target in place answers. {troubles}".strip(),
            remedy="Are they switched on and plugged in? See `blindfield devices`.",
        )
    return one.target


def _along(target: Target) -> str:
    if target.antenna_azimuth_deg is None:
        return "Nobody noted its antenna: walk off in the direction of the strongest signal."
    return (
        f"Its antenna points to {target.antenna_azimuth_deg:.0f} degrees, clockwise from the "
        "field's y axis: walk off along that line."
    )


def _keep(place: Field, found: ReceiveRange, target: str | None) -> list[Earlier]:
    """Into the logbook; the tests of the same two that were there before."""
    event = Event(
        kind="receive_range",
        source="person",
        host_epoch=new_host_epoch(),
        utc=utc_text(),
        data=event_data(found, field=place.name, target=target),
    )
    with Logbook.open(place.logbook_path, field_key=None) as logbook:
        before = earlier(logbook.past.of_the_field())
        logbook.append(event)
    return [test for test in before if _same(test.found, found)]


def _same(one: ReceiveRange, other: ReceiveRange) -> bool:
    def pair(found: ReceiveRange) -> tuple[str, str]:
        return found.searcher.casefold(), found.transceiver.casefold()

    return pair(one) == pair(other)


def _line(found: ReceiveRange) -> str:
    return (
        f"{found.searcher}, {found.transceiver}: mean {found.mean_m:.1f} m, spread "
        f"{found.sigma_m:.1f} m, farthest {found.farthest_m:.1f} m; {_strip(found)}"
    )


def _strip(found: ReceiveRange) -> str:
    if found.strip_width_m is None:
        return "no search strip width"
    return f"search strip {found.strip_width_m:.1f} m wide +- {found.strip_sigma_m:.1f} m"


def _show(found: ReceiveRange, before: Sequence[Earlier]) -> None:
    print(f"{_line(found)} ({len(found.passes)} passes).")
    if found.strip_width_m is not None:
        print(
            f"Width = 1.26 x (mean - 2 x spread), spread the standard deviation of "
            f"{len(found.ranges_m)} readings, +- one standard error (Schreilechner, Eck and "
            "Schober, ISSW 2009)."
        )
    if found.doubt:
        print(
            f"WARNING: {found.doubt}. Hold the transceiver the same way, walk more passes, and "
            "use no strip from this."
        )
    taught = " and ".join(f"{width_m:g} m" for width_m in TAUGHT_STRIPS_M)
    print(f"{taught} are both taught: keep to what your course or your local practice says.")
    for test in before:
        print(f"Before, {test.utc[:10]}: {_line(test.found)}.")


def _show_kept(options: argparse.Namespace, place: Field) -> int:
    with Logbook.open(place.logbook_path, field_key=None) as logbook:
        tests = newest(earlier(logbook.past.of_the_field()))
    if options.json:
        print(json.dumps([_as_json(t.found) | {"utc": t.utc} for t in tests.values()], indent=2))
        return 0
    if not tests:
        raise ConfigError("no range test is kept yet.", remedy="Walk one: `blindfield range`.")
    for test in tests.values():
        doubt = f" WARNING: {test.found.doubt}." if test.found.doubt else ""
        print(f"{test.utc[:10]}  {_line(test.found)}.{doubt}")
    return 0


def _as_json(found: ReceiveRange) -> dict[str, Any]:
    return {
        "searcher": found.searcher,
        "transceiver": found.transceiver,
        "passes": [{"lost_m": one.lost_m, "found_m": one.found_m} for one in found.passes],
        "mean_m": found.mean_m,
        "sigma_m": found.sigma_m,
        "farthest_m": found.farthest_m,
        "strip_width_m": found.strip_width_m,
        "strip_sigma_m": found.strip_sigma_m,
        "doubt": found.doubt or None,
    }
