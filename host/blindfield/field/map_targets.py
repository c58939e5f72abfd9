"""The targets on a map: where, how deep, in what state, how the antenna lies."""

from __future__ import annotations

import math
from collections.abc import Sequence

from blindfield.field.as_built import BuiltTarget
from blindfield.field.map_ground import A_SIGN, Sheet, in_lines, label
from blindfield.field.prints_ink import INK, Mark
from blindfield.model.field import Point, TargetState

NAME_PT, SMALL_NAME_PT, LONG_NAME, MANY = 13.0, 10.0, 6, 12
ARROW_IN = 0.34
UPRIGHT_DEG = 75.0  # steeper than this an arrow on the map would mislead
_LIES: Mark = {"marker": "o", "ms": 9, "mfc": INK, "mec": "white", "mew": 1.0}
_FROZEN: Mark = {"marker": "s", "ms": 9, "mfc": INK, "mec": "white", "mew": 1.0}
_OUT: Mark = {"marker": "o", "ms": 9, "mfc": "white", "mec": INK, "mew": 2.0}
MARKS = {
    TargetState.DUG_OUT: ("dug out: a pit", _OUT),
    TargetState.FROZEN_IN: ("frozen in: do not dig", _FROZEN),
    TargetState.IN_PLACE: ("target", _LIES),
}


def mark_of(state: TargetState) -> tuple[str, Mark]:
    """What the legend calls it, and its sign."""
    return MARKS.get(state, MARKS[TargetState.IN_PLACE])


def draw_targets(sheet: Sheet, targets: Sequence[BuiltTarget]) -> None:
    """Signs and arrows first, then words where they hide none of them."""
    side_m = 0.16 * sheet.m_per_inch
    for one in targets:
        at_m = (one.target.x_m, one.target.y_m)
        sheet.axes.plot(*at_m, ls="none", zorder=8, **mark_of(one.target.state)[1])
        sheet.places.take(*at_m, side_m, side_m, A_SIGN)
        _arrow(sheet, one)
    for one in targets:
        _name(sheet, one, len(targets) > MANY)


def depth_words(one: BuiltTarget) -> str:
    if not one.target.state.lies:
        return "out"
    return f"{one.target.depth_m:.2f} m" if one.depth_known else "?"


def _arrow(sheet: Sheet, one: BuiltTarget) -> None:
    """Where the antenna points, as long as it is level; nothing for one upright or not noted."""
    azimuth_deg, tilt_deg = one.target.antenna_azimuth_deg, one.target.antenna_tilt_deg or 0.0
    if azimuth_deg is None or abs(tilt_deg) > UPRIGHT_DEG or not one.target.state.lies:
        return
    turn = math.radians(azimuth_deg)
    long_m = ARROW_IN * sheet.m_per_inch * (0.4 + 0.6 * math.cos(math.radians(tilt_deg)))
    x_m, y_m = one.target.x_m, one.target.y_m
    dx, dy = long_m * math.sin(turn), long_m * math.cos(turn)
    sheet.axes.annotate(
        "", (x_m + dx, y_m + dy), (x_m - dx, y_m - dy), zorder=7,
        arrowprops={"arrowstyle": "-|>,head_width=0.25,head_length=0.5", "lw": 2.0, "fc": INK,
                    "ec": INK, "shrinkA": 0, "shrinkB": 0},
    )  # fmt: skip
    box_m = 0.12 * sheet.m_per_inch
    for share in (-1.0, -0.5, 0.5, 1.0):
        sheet.places.take(x_m + share * dx, y_m + share * dy, box_m, box_m, A_SIGN / 2)


def _name(sheet: Sheet, one: BuiltTarget, many: bool) -> None:
    name = in_lines(one.name)
    between = ": " if many and len(one.name) <= LONG_NAME else "\n"
    words = name + (f"{between}{depth_words(one)}" if one.target.state.lies else "")
    if one.target.state in (TargetState.DUG_OUT, TargetState.FROZEN_IN, TargetState.PUT_BACK):
        words += f"\n{one.target.state.value}"
    points = SMALL_NAME_PT if many or len(one.name) > LONG_NAME else NAME_PT
    at_m: Point = (one.target.x_m, one.target.y_m)
    label(sheet, at_m, words, points, bold=True)
