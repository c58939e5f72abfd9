"""The field from above: flux lines, displayed distances, targets, the path of one search."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon

from blindfield.debrief.picture_flux import flux_lines
from blindfield.debrief.picture_ink import LEFT, STRUCK
from blindfield.debrief.picture_labels import called
from blindfield.debrief.picture_phases import LOOKS, left_at, stretches
from blindfield.debrief.picture_samples import (
    LEVELS_M,
    grid_over,
    iso_distance_grid,
)
from blindfield.debrief.words import whole_text
from blindfield.field.map_ground import grid_step_m
from blindfield.field.map_labels import Places
from blindfield.field.prints_ink import (
    CARD,
    FAINT,
    GREY,
    INK,
    KEPT_OUT,
    SMALL_PT,
    START,
    TARGET,
    TEXT_PT,
    size_m,
)
from blindfield.model.area import Area
from blindfield.model.field import Field, KeepOut, Point
from blindfield.searcher.values import Problem, Source, Trace

MARGIN = 0.03  # of the longer side, about the plan
CONTOUR_COLUMNS = 161
LONGEST_NAME = 14
_SIGN_IN = 0.2  # about the size of a mark
# The least level drawn on the plan: what is nearer is drawn in the close-ups.
PLAN_LEVELS_M = tuple(level for level in LEVELS_M if level >= 3.0)


@dataclass
class Sheet:
    """Axes whose units are metres on the ground, with what is already taken on it."""

    axes: Axes
    area: Area
    m_per_inch: float
    places: Places


def sheet_on(axes: Axes, area: Area, m_per_inch: float) -> Sheet:
    axes.set_xlim(area.left_m, area.right_m)
    axes.set_ylim(area.bottom_m, area.top_m)
    axes.set_aspect("equal", adjustable="box")
    axes.set_axisbelow(True)
    axes.grid(color=FAINT, linewidth=0.8)
    return Sheet(axes, area, m_per_inch, Places(area))


def area_shown(problem: Problem, trace: Trace) -> Area:
    """The field, and wherever the search led out of it, with a margin."""
    xs = [0.0, problem.width_m, float(np.min(trace.x_m)), float(np.max(trace.x_m))]
    ys = [0.0, problem.height_m, float(np.min(trace.y_m)), float(np.max(trace.y_m))]
    margin_m = MARGIN * max(max(xs) - min(xs), max(ys) - min(ys))
    return Area(min(xs) - margin_m, min(ys) - margin_m, max(xs) + margin_m, max(ys) + margin_m)


def draw_plan(sheet: Sheet, problem: Problem, trace: Trace, place: Field | None) -> None:
    """Everything of the plan; words last, where they hide the least."""
    axes = sheet.axes
    _ground(sheet, problem, place)
    _ticks(sheet)
    draw_flux(sheet, problem.sources)
    draw_path(sheet, trace)
    for x_m, y_m in left_at(trace):
        axes.plot(x_m, y_m, **LEFT)
    axes.plot(problem.start_x_m, problem.start_y_m, **START)
    sheet.places.avoid(trace.x_m, trace.y_m)
    for source in problem.sources:
        _target(sheet, source, source.name in trace.found)
    _name_places(sheet, problem, trace)
    _scale_bar(sheet)
    draw_contours(sheet, problem.sources, PLAN_LEVELS_M, CONTOUR_COLUMNS)


def _ground(sheet: Sheet, problem: Problem, place: Field | None) -> None:
    """The ground's outline; a rectangle where no field says more."""
    wide_m, high_m = problem.width_m, problem.height_m
    outline_m: Sequence[Point] = ((0.0, 0.0), (wide_m, 0.0), (wide_m, high_m), (0.0, high_m))
    kept_out: Sequence[KeepOut] = ()
    if place is not None:
        outline_m, kept_out = place.outline_m, place.keep_outs
    sheet.axes.add_patch(Polygon(outline_m, closed=True, fill=False, lw=1.6, ec=INK))
    for one in kept_out:
        sheet.axes.add_patch(Polygon(one.corners_m, closed=True, **KEPT_OUT))


def _ticks(sheet: Sheet) -> None:
    step_m = grid_step_m(max(sheet.area.width_m, sheet.area.height_m))
    for axis, low, high in (
        (sheet.axes.xaxis, sheet.area.left_m, sheet.area.right_m),
        (sheet.axes.yaxis, sheet.area.bottom_m, sheet.area.top_m),
    ):
        axis.set_ticks(np.arange(math.ceil(low / step_m), math.floor(high / step_m) + 1) * step_m)
    sheet.axes.set_xlabel(f"metres along the width (grid {step_m:g} m)")
    sheet.axes.set_ylabel("metres along the height")


def draw_flux(sheet: Sheet, sources: tuple[Source, ...]) -> None:
    """Flux lines as the arrow would be followed, of whichever target is the strongest there.

    A keyed carrier has no sign: a flux line has no arrowhead.
    """
    lines = flux_lines(sources, sheet.area)
    if not lines:
        return
    gap = np.full((1, 2), np.nan)  # one broken line: it is thinned for the file, as others are
    x_m, y_m = np.concatenate([part for line in lines for part in (line, gap)]).T
    sheet.axes.add_line(Line2D(x_m, y_m, color=GREY, lw=0.9, zorder=1.5))


def draw_contours(
    sheet: Sheet, sources: tuple[Source, ...], levels_m: tuple[float, ...], columns: int
) -> None:
    """Where a receiver shows the same distance, each ring with its figure."""
    grid = grid_over(sheet.area, columns)
    shown_m = iso_distance_grid(sources, grid)
    inside_m = [level for level in levels_m if shown_m.min() < level < shown_m.max()]
    if not inside_m:
        return
    rings = sheet.axes.contour(
        grid.x_m, grid.y_m, shown_m, levels=inside_m, colors=INK, linewidths=1.3, zorder=2
    )
    for level_m, lines in zip(inside_m, rings.allsegs, strict=True):
        for line in lines:
            if len(line):
                _label_ring(sheet, level_m, np.asarray(line))


def _label_ring(sheet: Sheet, level_m: float, line: np.ndarray) -> None:
    text = f"{level_m:g} m"
    width_m, height_m = size_m(text, SMALL_PT, sheet.m_per_inch)
    if np.ptp(line[:, 0]) < width_m and np.ptp(line[:, 1]) < width_m:
        return  # a ring smaller than its figure
    place = sheet.places.along(line, width_m, height_m)
    if place is not None:
        sheet.axes.text(*place, text, fontsize=SMALL_PT, zorder=5, **CARD)


def draw_path(sheet: Sheet, trace: Trace, scale: float = 1.0) -> None:
    """The way walked, each phase in its own line."""
    sheet.axes.add_line(Line2D(trace.x_m, trace.y_m, color="white", lw=5.2 * scale, zorder=3.5))
    for stretch in stretches(trace):
        look = LOOKS[stretch.phase]
        sheet.axes.add_line(
            Line2D(
                trace.x_m[stretch.rows],
                trace.y_m[stretch.rows],
                color=look.colour,
                linestyle=look.dashes,
                lw=look.width_pt * scale,
                dash_capstyle="butt",
                solid_capstyle="round",
                zorder=4,
            )
        )


def _target(sheet: Sheet, source: Source, struck: bool) -> None:
    sheet.axes.plot(source.x_m, source.y_m, **TARGET)
    if struck:
        sheet.axes.plot(source.x_m, source.y_m, **STRUCK)


def _name_places(sheet: Sheet, problem: Problem, trace: Trace) -> None:
    marks = [(problem.start_x_m, problem.start_y_m, "start")]
    marks += [(source.x_m, source.y_m, _told(source, trace)) for source in problem.sources]
    side_m = _SIGN_IN * sheet.m_per_inch
    for x_m, y_m, _ in marks:  # nobody's sign is hidden by somebody else's words
        sheet.places.take(x_m, y_m, side_m, side_m)
    for x_m, y_m, text in marks:
        lines = text.split("\n")
        width_m, line_m = size_m(max(lines, key=len), TEXT_PT, sheet.m_per_inch)
        place = sheet.places.around(x_m, y_m, width_m, line_m * len(lines))
        sheet.axes.plot([x_m, place[0]], [y_m, place[1]], color=INK, lw=0.9, zorder=5)
        sheet.axes.text(
            *place, text, fontsize=TEXT_PT, fontweight="bold", zorder=6, linespacing=1.1, **CARD
        )


def _told(source: Source, trace: Trace) -> str:
    found_s = trace.found.get(source.name)
    came_of_it = "not found" if found_s is None else f"model {whole_text(found_s)}"
    return f"{called(source.name, LONGEST_NAME)}\n{source.depth_m:g} m deep\n{came_of_it}"


def _scale_bar(sheet: Sheet) -> None:
    """In the lower corner where it hides less."""
    length_m = grid_step_m(max(sheet.area.width_m, sheet.area.height_m))
    text = f"{length_m:g} m"
    height_m = size_m(text, TEXT_PT, sheet.m_per_inch)[1]
    inset_m = 0.2 * sheet.m_per_inch
    high_m = sheet.area.bottom_m + inset_m + height_m * 0.7
    middles = (
        sheet.area.left_m + inset_m + length_m / 2,
        sheet.area.right_m - inset_m - length_m / 2,
    )
    middle_m = min(middles, key=lambda x: sheet.places.cost(x, high_m, length_m, 2 * height_m))
    sheet.places.take(middle_m, high_m, length_m, 2 * height_m)
    sheet.axes.plot(
        [middle_m - length_m / 2, middle_m + length_m / 2], [high_m - height_m * 0.6] * 2,
        color=INK, lw=4.0, solid_capstyle="butt", zorder=6,
    )  # fmt: skip
    sheet.axes.text(middle_m, high_m + height_m * 0.1, text, fontsize=TEXT_PT, zorder=6, **CARD)
