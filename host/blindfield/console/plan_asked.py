"""What `plan` is asked: the ground, the starts, what lies already, the sweat, the receiver."""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from blindfield.console.blind import refuse_while_open
from blindfield.console.desk import field_of
from blindfield.field.as_built import as_built
from blindfield.field.labour import Depths, Sweat
from blindfield.field.plan import DEFAULT_TARGETS
from blindfield.field.plan_ground import Ground
from blindfield.field.plan_objective import SEPARATION_M, Lying, Task
from blindfield.field.plan_signals import DEFAULT_RANGE_M, Hearing
from blindfield.field.receive_range import earlier
from blindfield.field.settings import FILE_NAME
from blindfield.logbook.book import Logbook
from blindfield.model.errors import ConfigError
from blindfield.model.events import Event
from blindfield.model.field import Field, Point, StartPoint

DEFAULT_STARTS, DEFAULT_SNOW_M = 4, 1.5
ANY_DEPTH_M = (-math.inf, math.inf)


@dataclass(frozen=True)
class Asked:
    """The task, the field it is for (None: a new one), names of its devices not in the snow and
    of those that lie but may not send, as nobody knows how deep or they were felt lifted."""

    task: Task
    place: Field | None
    spare: tuple[str, ...] = ()
    kept_out: frozenset[str] = frozenset()


def asked_of(options: argparse.Namespace) -> Asked:
    """Raises ConfigError, and NotReady while a run is open: places must not be seen then."""
    found, events = _place(options)
    hearing = _hearing(options, events)
    if found is None:
        ground = _ground(options)
        return Asked(
            _task(options, ground, _starts(options, ground, None), (), None, hearing), None
        )
    built = as_built(found, events)
    place = built.field
    ground = Ground(place.outline_m, tuple(out.corners_m for out in place.keep_outs))
    lying = () if options.new else _lying(place)
    names = {one.name for one in lying}
    spare = tuple(target.name for target in place.targets if target.name not in names)
    starts = _starts(options, ground, place)
    kept_out = frozenset(
        one.name for one in built.targets if one.name in names and one.out_of_draw(ANY_DEPTH_M)
    )
    return Asked(_task(options, ground, starts, lying, place, hearing), place, spare, kept_out)


def _place(options: argparse.Namespace) -> tuple[Field | None, Sequence[Event]]:
    """The field's file and what people noted of it; None where a plan needs no field."""
    apart = options.area is not None or options.keep_out is not None or options.starter is not None
    if options.field is None and (apart or not Path(FILE_NAME).is_file()):
        return None, ()
    place = field_of(options)
    if not place.logbook_path.exists():
        return place, ()
    with Logbook.open(place.logbook_path, field_key=None, create=False) as logbook:
        refuse_while_open(logbook)
        return place, logbook.past.of_the_field()


def _hearing(options: argparse.Namespace, events: Sequence[Event]) -> Hearing:
    """The receiver as said, or as this searcher last walked it."""
    if options.searcher is None:
        range_m = DEFAULT_RANGE_M if options.range is None else options.range
        return Hearing(range_m, options.range_spread)
    who = options.searcher.casefold()
    tests = [one.found for one in earlier(events) if one.found.searcher.casefold() == who]
    if not tests:
        raise ConfigError(
            f"the logbook has no range test of {options.searcher!r}.",
            remedy="Walk one with `blindfield range`, or say --range.",
        )
    spread_m = options.range_spread
    return Hearing(tests[-1].mean_m, tests[-1].sigma_m if spread_m is None else spread_m)


def _ground(options: argparse.Namespace) -> Ground:
    keep_outs = tuple(_corners("--keep-out", text) for text in options.keep_out or ())
    if options.area is None:
        return Ground(keep_outs_m=keep_outs)
    sides = options.area.lower().split("x")
    if len(sides) == 2:
        width_m, height_m = (_number("--area", side) for side in sides)
        corners: tuple[Point, ...]
        corners = ((0.0, 0.0), (width_m, 0.0), (width_m, height_m), (0.0, height_m))
    else:
        corners = _corners("--area", options.area)
    return Ground(corners, keep_outs)


def _corners(option: str, text: str) -> tuple[Point, ...]:
    return tuple(_point(option, word) for word in text.split())


def _point(option: str, text: str) -> Point:
    x, comma, y = text.partition(",")
    if not comma:
        raise ConfigError(
            f"{option}: {text!r} is no place.", remedy="Write x,y in metres, such as 12.5,40."
        )
    return _number(option, x), _number(option, y)


def _number(option: str, text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise ConfigError(f"{option}: {text!r} is no number.", remedy="Write metres, as in 12.5.")
    return value


def _starts(
    options: argparse.Namespace, ground: Ground, place: Field | None
) -> tuple[StartPoint, ...]:
    if options.start:
        points = [_start(text, ground) for text in options.start]
        return tuple(StartPoint(f"flag {n}", *point) for n, point in enumerate(points, 1))
    if place is not None and options.starts is None:
        return place.start_points
    return ground.flags(DEFAULT_STARTS if options.starts is None else options.starts)


def _start(text: str, ground: Ground) -> Point:
    """A flag inside the box that holds the ground, as a field file needs it."""
    point = _point("--start", text)
    width_m, height_m = (max(corner[axis] for corner in ground.outline_m) for axis in (0, 1))
    if not (0.0 <= point[0] <= width_m and 0.0 <= point[1] <= height_m):
        raise ConfigError(
            f"the start {text} lies outside the field.",
            remedy="Put the flag on the rim; the run-in leads there from outside.",
        )
    return point


def _lying(place: Field) -> tuple[Lying, ...]:
    return tuple(
        Lying(
            target.name,
            target.x_m,
            target.y_m,
            target.depth_m,
            target.antenna_azimuth_deg,
            target.antenna_tilt_deg,
            target.state.may_be_dug,
        )
        for target in place.targets
        if target.state.lies
    )


def _task(
    options: argparse.Namespace,
    ground: Ground,
    starts: tuple[StartPoint, ...],
    lying: tuple[Lying, ...],
    place: Field | None,
    hearing: Hearing,
) -> Task:
    in_field = len(place.targets) if place is not None else 0
    count = options.targets
    if count is None:
        count = options.starter or in_field or DEFAULT_TARGETS
    if count < len(lying):
        raise ConfigError(
            f"{len(lying)} targets lie in the field already, more than {count}.",
            remedy="--targets says how many there are in all; --new plans from nothing.",
        )
    snow_m = DEFAULT_SNOW_M if options.snow is None else options.snow
    return Task(
        ground,
        starts,
        hearing,
        Depths(snow_m, options.deep, options.deepest),
        Sweat(options.people, options.minutes),
        lying=lying,
        new=count - len(lying),
        separation_m=SEPARATION_M if options.apart is None else options.apart,
    )
