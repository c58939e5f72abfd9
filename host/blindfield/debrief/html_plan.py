"""The map, now revealed: where the targets of the run lie, and how a modelled search went."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from blindfield.debrief.html_lanes import fate_text
from blindfield.debrief.html_svg import SIGNS, figure, legend, sign, words_at
from blindfield.debrief.html_text import Html, element, person, table
from blindfield.debrief.html_values import Told
from blindfield.debrief.picture_labels import called, shown_name
from blindfield.debrief.values import TargetStory
from blindfield.field.map_labels import Places
from blindfield.model.area import Area
from blindfield.model.field import Point
from blindfield.searcher.values import Trace

WIDE = 360.0
_EDGE = 18.0
_LETTER, _LINE_HIGH = 7.4, 18.0
_MOST_POINTS, _RIM = 600, 10.0
_LONGEST_NAME = 14


class _Sheet:
    """Metres on the ground to units of the drawing, y up to y down."""

    def __init__(self, points_m: Sequence[Point]) -> None:
        xs, ys = zip(*points_m, strict=True)
        self.left_m, self.low_m = min(xs), min(ys)
        wide_m, high_m = max(xs) - self.left_m, max(ys) - self.low_m
        self.per_m = (WIDE - 2 * _EDGE) / max(wide_m, 0.6 * high_m, 1.0)
        self.inset = (WIDE - wide_m * self.per_m) / 2
        self.height = high_m * self.per_m + 2 * _EDGE
        self.places = Places(Area(0.0, 0.0, WIDE, self.height))

    def at(self, x_m: float, y_m: float) -> Point:
        x = self.inset + (x_m - self.left_m) * self.per_m
        return x, self.height - _EDGE - (y_m - self.low_m) * self.per_m

    def points(self, points_m: Sequence[Point]) -> str:
        return " ".join("{:.1f},{:.1f}".format(*self.at(*one)) for one in points_m)


def drawn(told: Told) -> Html:
    """The figure, its legend left out where there is nothing to tell apart."""
    outline_m = _outline(told)
    path_m = _path(told)
    sheet = _Sheet([*outline_m, *path_m, *_marks(told)])
    _reserve(sheet, told, path_m)
    parts = [
        *_ground(sheet, told, outline_m),
        *_walked(sheet, path_m),
        *_targets(sheet, told),
        *_start(sheet, told),
        *_bar(sheet),
    ]
    heads = (
        element("title", "The field from above", id="plan-name"),
        element("desc", "The list below gives the same places in metres.", id="plan-said"),
    )
    drawing = element(
        "svg",
        *heads,
        *parts,
        class_="plan",
        viewBox=f"0 0 {WIDE:g} {sheet.height:.1f}",
        role="img",
        aria_labelledby="plan-name",
        aria_describedby="plan-said",
    )
    return Html(figure(_caption(told), drawing) + _legend(told))


def _caption(told: Told) -> str:
    if told.modelled is None:
        return "The field from above."
    return "The field from above. The thin line is the way of the modelled search, not yours."


def _outline(told: Told) -> Sequence[Point]:
    if told.place is not None:
        return told.place.outline_m
    points_m = _marks(told)
    xs, ys = zip(*points_m, strict=True)
    low, high = (min(xs) - 2, min(ys) - 2), (max(xs) + 2, max(ys) + 2)
    return (low, (high[0], low[1]), high, (low[0], high[1]))


def _marks(told: Told) -> list[Point]:
    timeline = told.shown
    marks = [(target.x_m, target.y_m) for target in timeline.targets]
    start = timeline.start
    return marks + ([] if start is None else [(start.x_m, start.y_m)])


def _path(told: Told) -> list[Point]:
    return [] if told.modelled is None else _thinned(told.modelled.trace)


def _thinned(trace: Trace) -> list[Point]:
    step = max(1, len(trace.x_m) // _MOST_POINTS)
    return [(float(x), float(y)) for x, y in zip(trace.x_m[::step], trace.y_m[::step], strict=True)]


def _reserve(sheet: _Sheet, told: Told, path_m: Sequence[Point]) -> None:
    """Words go where they hide no sign, and as little of the way as can be."""
    for mark in _marks(told):
        sheet.places.take(*sheet.at(*mark), 20.0, 20.0, 8.0)
    if path_m:
        xs, ys = zip(*(sheet.at(*one) for one in path_m), strict=True)
        sheet.places.avoid(np.array(xs), np.array(ys))


def _ground(sheet: _Sheet, told: Told, outline_m: Sequence[Point]) -> Iterator[Html]:
    yield element("polygon", points=sheet.points(outline_m), class_="ground")
    for one in () if told.place is None else told.place.keep_outs:
        yield element("polygon", points=sheet.points(one.corners_m), class_="kept-out")


def _walked(sheet: _Sheet, path_m: Sequence[Point]) -> Iterator[Html]:
    if path_m:
        yield element("polyline", points=sheet.points(path_m), class_="way")


def _targets(sheet: _Sheet, told: Told) -> Iterator[Html]:
    numbers = {find.target: find.number for find in told.timeline.finds}
    for target in told.shown.targets:
        x, y = sheet.at(target.x_m, target.y_m)
        number = numbers.get(target.name)
        tight = _crowded(sheet, told, target)
        yield element("circle", cx=x, cy=y, r=6.5 if tight else 9, class_=_look(target, number))
        if number is not None:
            down, look = (4, "number tight") if tight else (5, "number")
            yield words_at(x, y + down, str(number), "middle", look)
        elif target.in_play:
            yield element("path", d=SIGNS["missed"], class_="sign missed", transform=_moved(x, y))
        label = [called(target.name, _LONGEST_NAME), f"{_depth_text(target)} m deep"]
        yield from _label(sheet, (x, y), label)


def _crowded(sheet: _Sheet, told: Told, target: TargetStory) -> bool:
    """Whether its sign would hide another."""
    here = (target.x_m, target.y_m)
    others = [one for one in told.shown.targets if one is not target]
    return any(math.dist(here, (one.x_m, one.y_m)) * sheet.per_m < 2 * _RIM for one in others)


def _depth_text(target: TargetStory) -> str:
    return f"{target.depth_m:.2f}".rstrip("0").rstrip(".")


def _look(target: TargetStory, number: int | None) -> str:
    if number is not None:
        return "found"
    return "unfound" if target.in_play else "idle"


def _moved(x: float, y: float) -> str:
    return f"translate({x:.1f} {y:.1f})"


def _start(sheet: _Sheet, told: Told) -> Iterator[Html]:
    start = told.timeline.start
    if start is None:
        return
    x, y = sheet.at(start.x_m, start.y_m)
    yield element("path", d="M0 -9L9 8H-9Z", class_="start", transform=_moved(x, y))
    yield from _label(sheet, (x, y), [f"start: {shown_name(start.name, _LONGEST_NAME)}"])


def _label(sheet: _Sheet, at: Point, lines: Sequence[str]) -> Iterator[Html]:
    wide = max(map(len, lines)) * _LETTER + 4
    high = len(lines) * _LINE_HIGH
    x, y = sheet.places.around(*at, wide, high)
    x = min(max(x, _EDGE / 2 + wide / 2), WIDE - _EDGE / 2 - wide / 2)
    yield from _lead(at, (x, y), wide / 2, high / 2)
    top = y - high / 2 + 13
    for row, line in enumerate(lines):
        class_ = "place" if row == 0 else "place small"
        yield words_at(x, top + row * _LINE_HIGH, line, "middle", class_)


def _lead(at: Point, to: Point, wide: float, high: float) -> Iterator[Html]:
    """From the sign's rim to the nearest point of the words, where they stand apart."""
    near = tuple(
        min(max(begin, end - half), end + half)
        for begin, end, half in zip(at, to, (wide, high), strict=True)
    )
    away = math.dist(at, near)
    if away < 2 * _RIM:
        return
    rim = [begin + (end - begin) * _RIM / away for begin, end in zip(at, near, strict=True)]
    yield element("line", x1=rim[0], y1=rim[1], x2=near[0], y2=near[1], class_="lead")


def _bar(sheet: _Sheet) -> Iterator[Html]:
    """The scale, below the ground."""
    long = 10.0 * sheet.per_m
    y = sheet.height - 5
    yield element("line", x1=_EDGE, x2=_EDGE + long, y1=y, y2=y, class_="scale")
    yield words_at(_EDGE + long + 6, y + 5, "10 m", class_="small")


def _legend(told: Told) -> Html:
    rows = [(sign("found"), "found, in this order")] if told.timeline.finds else []
    if any(target.in_play and not _found(told, target) for target in told.shown.targets):
        rows.append((sign("missed"), "not found"))
    if any(not target.in_play for target in told.shown.targets):
        rows.append((sign("found", "hollow"), "not in play"))
    return legend(rows)


def _found(told: Told, target: TargetStory) -> bool:
    return any(find.target == target.name for find in told.timeline.finds)


def listed(told: Told) -> Html:
    rows = [
        (
            person(target.name),
            f"{target.x_m:.1f}",
            f"{target.y_m:.1f}",
            _depth_text(target),
            fate_text(target, told.timeline),
        )
        for target in told.shown.targets
    ]
    start = told.timeline.start
    if start is not None:
        rows.append((person(start.name), f"{start.x_m:.1f}", f"{start.y_m:.1f}", "", "start"))
    heads = ("", "x, m", "y, m", "deep, m", "what came of it")
    return table("Places, in metres from the first peg", ("target", *heads[1:]), rows)
