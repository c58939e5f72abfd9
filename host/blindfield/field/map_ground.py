"""The ground from above: outline, pegs, start points with their run-ins, what is kept out, grid."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon

from blindfield.field.map_labels import Places
from blindfield.field.pegs import pegs_of, sides_of
from blindfield.field.prints_ink import CARD, INK, KEPT_OUT, SMALL_PT, START, TEXT_PT
from blindfield.field.prints_page import Page, text_width_in
from blindfield.model.area import Area
from blindfield.model.field import Field, Point, StartPoint

PEG_PT, MARGIN_IN = 14.0, 0.62
TICKS_IN = (0.42, 0.3)  # room for the figures left of the grid and below it
LINE_HIGH = 1.25
ON_RIM_M = 1.0
RUN_IN_M = 10.0
GRID = "#b0b0b0"
CLEAR_IN = 0.06
NAME_WIDTH = 16
A_SIGN = 8.0  # a place as others are taken, but never to be hidden
_INCH_PT = 72.0


@dataclass
class Sheet:
    """Axes whose units are metres on the ground, with what is already taken on it."""

    axes: Axes
    area: Area
    m_per_inch: float
    step_m: float
    places: Places


def scale_of(place: Field, room_in: Point) -> float:
    """Metres per inch with which the field and what stands around it fill the room; infinite where
    there is none."""
    rooms_in = [
        inches - 2 * MARGIN_IN - tick_in for inches, tick_in in zip(room_in, TICKS_IN, strict=True)
    ]
    if min(rooms_in) <= 0.0:
        return math.inf
    return max(side_m / inches for side_m, inches in zip(_size_m(place), rooms_in, strict=True))


def height_in(place: Field, m_per_inch: float) -> float:
    """How high a sheet of that scale is, the grid's figures included."""
    return _size_m(place)[1] / m_per_inch + 2 * MARGIN_IN + TICKS_IN[1]


def sheet_on(
    page: Page, place: Field, corner_in: Point, size_in: Point, m_per_inch: float
) -> Sheet:
    """A sheet with its grid, the ground in its middle; its upper left corner is given. What is
    wider or higher than the scale asks for is room for words."""
    (left_in, top_in), (width_in, high_in) = corner_in, size_in
    over_in = (high_in - height_in(place, m_per_inch)) / 2
    low_m, (wide_m, high_m) = _lowest_m(place), _size_m(place)
    beside_in = (width_in - TICKS_IN[0] - wide_m / m_per_inch) / 2
    area = Area(
        low_m[0] - (beside_in + TICKS_IN[0]) * m_per_inch,
        low_m[1] - (over_in + MARGIN_IN + TICKS_IN[1]) * m_per_inch,
        low_m[0] + wide_m + beside_in * m_per_inch,
        low_m[1] + high_m + (over_in + MARGIN_IN) * m_per_inch,
    )
    axes = page.axes(left_in, top_in - high_in, width_in, high_in)
    axes.set_xlim(area.left_m, area.right_m)
    axes.set_ylim(area.bottom_m, area.top_m)
    axes.set_axis_off()
    sheet = Sheet(axes, area, m_per_inch, grid_step_m(max(wide_m, high_m)), Places(area))
    _grid(sheet, place)
    return sheet


def _grid(sheet: Sheet, place: Field) -> None:
    """Lines over the ground, their metres below and to the left of it."""
    (left_m, bottom_m), (wide_m, high_m) = _lowest_m(place), _size_m(place)
    over_m, away_m = 0.12 * sheet.m_per_inch, MARGIN_IN * sheet.m_per_inch
    style: dict[str, Any] = {"colors": GRID, "lw": 0.7, "zorder": 0.5}
    for x_m in _steps(left_m, wide_m, sheet.step_m):
        sheet.axes.vlines(x_m, bottom_m - over_m, bottom_m + high_m + over_m, **style)
        _figure(sheet, (x_m, bottom_m - away_m), f"{x_m:g}", ha="center", va="top")
    for y_m in _steps(bottom_m, high_m, sheet.step_m):
        sheet.axes.hlines(y_m, left_m - over_m, left_m + wide_m + over_m, **style)
        _figure(sheet, (left_m - away_m, y_m), f"{y_m:g}", ha="right", va="center")


def _figure(sheet: Sheet, at_m: Point, text: str, ha: str, va: str) -> None:
    sheet.axes.text(*at_m, text, fontsize=TEXT_PT, ha=ha, va=va)
    wide_m = text_width_in(text, TEXT_PT) * sheet.m_per_inch
    high_m = TEXT_PT / _INCH_PT * sheet.m_per_inch
    shift = (-wide_m / 2, 0.0) if ha == "right" else (0.0, -high_m / 2)
    sheet.places.take(at_m[0] + shift[0], at_m[1] + shift[1], wide_m, high_m, A_SIGN)


def _steps(begin_m: float, length_m: float, step_m: float) -> list[float]:
    first, last = math.ceil(begin_m / step_m), math.floor((begin_m + length_m) / step_m)
    return [round(number * step_m, 6) for number in range(first, last + 1)]


def draw_ground(sheet: Sheet, place: Field) -> None:
    axes = sheet.axes
    axes.add_patch(Polygon(place.outline_m, closed=True, fill=False, lw=2.2, ec=INK, zorder=3))
    _keep_clear(sheet, place.outline_m)
    for one in place.keep_outs:
        axes.add_patch(Polygon(one.corners_m, closed=True, **{**KEPT_OUT, "ec": INK}))
        _keep_clear(sheet, one.corners_m)
    for start in place.start_points:
        sheet.places.take(start.x_m, start.y_m, *_both(0.2 * sheet.m_per_inch), A_SIGN)
        _run_in(sheet, place, start)
    for name, peg_m in pegs_of(place).items():
        _peg(sheet, place, name, peg_m)


def name_ground(sheet: Sheet, place: Field) -> None:
    """Words, once everything is drawn that they should not hide."""
    for start in place.start_points:
        sheet.axes.plot(start.x_m, start.y_m, **START)
        label(sheet, (start.x_m, start.y_m), in_lines(start.name), TEXT_PT, bold=True)
    for one in place.keep_outs:
        xs, ys = zip(*one.corners_m, strict=True)
        middle = (sum(xs) / len(xs), sum(ys) / len(ys))
        label(sheet, middle, in_lines(one.name), SMALL_PT, on_it=True)


def in_lines(name: str) -> str:
    """A long name in lines of at most NAME_WIDTH letters."""
    return "\n".join(textwrap.wrap(name, NAME_WIDTH, break_long_words=True))


def label(
    sheet: Sheet,
    at_m: Point,
    text: str,
    points: float,
    *,
    bold: bool = False,
    on_it: bool = False,
) -> None:
    """Words beside a place, where they hide the least, with a thin line to it; or `on_it`."""
    lines = text.split("\n")
    wide_in = max(text_width_in(line, points, bold=bold) for line in lines) + 0.08
    high_in = len(lines) * points * LINE_HIGH / _INCH_PT + 0.04
    size = (wide_in * sheet.m_per_inch, high_in * sheet.m_per_inch)
    spot = sheet.places.along(np.array([at_m]), *size) if on_it else None
    if spot is None:
        spot = sheet.places.around(*at_m, *size)
        sheet.axes.plot([at_m[0], spot[0]], [at_m[1], spot[1]], color=INK, lw=0.9, zorder=5)
    weight = "bold" if bold else "normal"
    sheet.axes.text(*spot, text, fontsize=points, fontweight=weight, zorder=6, linespacing=1.1,
                    **CARD)  # fmt: skip


def draw_scale(page: Page, x_in: float, y_in: float, sheet: Sheet) -> float:
    """A scale bar of one grid step with its length; where its words end."""
    wide_in = sheet.step_m / sheet.m_per_inch
    page.line((x_in, x_in + wide_in), (y_in, y_in), lw=5.0, solid_capstyle="butt")
    text = f"{sheet.step_m:g} m, one square"
    page.write(x_in + wide_in + 0.1, y_in - 0.05, text)
    return x_in + wide_in + 0.1 + text_width_in(text, TEXT_PT)


def draw_north(page: Page, place: Field, x_in: float, y_in: float) -> None:
    """An arrow to the north, where the field's file says which way its y axis points."""
    if place.georeference is None:
        return
    turn = math.radians(-place.georeference.y_bearing_deg)
    away = (math.sin(turn), math.cos(turn))
    axes = page.axes(x_in - 0.3, y_in - 0.3, 0.6, 0.6)
    axes.set_axis_off()
    axes.set_xlim(-1, 1)
    axes.set_ylim(-1, 1)
    axes.annotate(
        "", (0.5 * away[0], 0.5 * away[1]), (-0.6 * away[0], -0.6 * away[1]),
        arrowprops={"arrowstyle": "-|>", "lw": 2.0, "fc": INK, "ec": INK},
    )  # fmt: skip
    axes.text(0.78 * away[0], 0.78 * away[1], "N", fontsize=TEXT_PT, fontweight="bold", ha="center",
              va="center")  # fmt: skip


def grid_step_m(extent_m: float) -> float:
    """A round step of the metre grid: 4 to 10 of them over the extent."""
    rough_m = extent_m / 10
    power = 10.0 ** math.floor(math.log10(rough_m))
    return next(step * power for step in (1.0, 2.0, 5.0, 10.0) if step * power >= rough_m)


def outward(place: Field, start: StartPoint) -> Point | None:
    """Straight out of the ground at a start point on its rim, a unit vector; None for one inside.

    The run-in lies there: tracks on it tell nothing.
    """
    nearest: tuple[float, Point] | None = None
    for side in sides_of(place):
        away = (start.x_m - side.begin_m[0], start.y_m - side.begin_m[1])
        along_m = away[0] * side.along[0] + away[1] * side.along[1]
        foot_m = min(max(along_m, 0.0), side.length_m)
        off_m = math.hypot(away[0] - foot_m * side.along[0], away[1] - foot_m * side.along[1])
        if off_m <= ON_RIM_M and (nearest is None or off_m < nearest[0]):
            nearest = (off_m, (-side.across[0], -side.across[1]))
    return None if nearest is None else nearest[1]


def _keep_clear(sheet: Sheet, corners_m: Sequence[Point]) -> None:
    """Words should not hide this line."""
    for (ax, ay), (bx, by) in zip(corners_m, [*corners_m[1:], corners_m[0]], strict=True):
        count = 2 + int(math.hypot(bx - ax, by - ay) / (CLEAR_IN * sheet.m_per_inch))
        sheet.places.avoid(np.linspace(ax, bx, count), np.linspace(ay, by, count))


def _run_in(sheet: Sheet, place: Field, start: StartPoint) -> None:
    out = outward(place, start)
    if out is None:
        return
    near_m, far_m = 0.17 * sheet.m_per_inch, 0.57 * sheet.m_per_inch
    tail, head = (
        (start.x_m + out[0] * away_m, start.y_m + out[1] * away_m) for away_m in (far_m, near_m)
    )
    sheet.axes.annotate(
        "", head, tail, zorder=4,
        arrowprops={"arrowstyle": "-|>,head_width=0.3,head_length=0.6", "lw": 2.6, "fc": INK,
                    "ec": INK, "shrinkA": 0, "shrinkB": 0},
    )  # fmt: skip
    middle = ((tail[0] + head[0]) / 2, (tail[1] + head[1]) / 2)
    sheet.places.take(*middle, *_both(0.35 * sheet.m_per_inch), A_SIGN)


def _peg(sheet: Sheet, place: Field, name: str, at_m: Point) -> None:
    sheet.axes.plot(*at_m, marker="s", ms=7, mfc=INK, mec=INK, ls="none", zorder=7)
    xs, ys = zip(*place.outline_m, strict=True)
    dx, dy = at_m[0] - sum(xs) / len(xs), at_m[1] - sum(ys) / len(ys)
    away = math.hypot(dx, dy) or 1.0
    off_m = 0.3 * sheet.m_per_inch
    spot = (at_m[0] + dx / away * off_m, at_m[1] + dy / away * off_m)
    sheet.places.take(*at_m, *_both(0.16 * sheet.m_per_inch), A_SIGN)
    sheet.places.take(*spot, *_both(0.3 * sheet.m_per_inch), A_SIGN)
    sheet.axes.text(*spot, name, fontsize=PEG_PT, fontweight="bold", ha="center", va="center",
                    zorder=7)  # fmt: skip


def _shown(place: Field) -> list[Point]:
    starts = [(start.x_m, start.y_m) for start in place.start_points]
    return [*place.outline_m, *pegs_of(place).values(), *starts]


def _lowest_m(place: Field) -> Point:
    xs, ys = zip(*_shown(place), strict=True)
    return min(xs), min(ys)


def _size_m(place: Field) -> Point:
    xs, ys = zip(*_shown(place), strict=True)
    return max(xs) - min(xs), max(ys) - min(ys)


def _both(value: float) -> Point:
    return value, value
