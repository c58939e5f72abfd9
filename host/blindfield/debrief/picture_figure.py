"""One page, A4 upright: the plan, the finds from near, the distance displayed."""

from __future__ import annotations

from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from blindfield.debrief.picture_closeup import draw_closeup
from blindfield.debrief.picture_ink import LEFT, PROBE, STRUCK
from blindfield.debrief.picture_labels import shown_name
from blindfield.debrief.picture_phases import LOOKS, phases_of, seconds_in
from blindfield.debrief.picture_plan import area_shown, draw_plan, sheet_on
from blindfield.debrief.picture_trace import (
    draw_lanes,
    draw_trace,
    lanes_of,
    longest_s,
    mark_limit,
    name_phases,
)
from blindfield.debrief.values import Timeline
from blindfield.debrief.words import whole_text
from blindfield.field.prints_ink import (
    GREY,
    INK,
    KEPT_OUT,
    SMALL_PT,
    START,
    TARGET,
    TEXT_PT,
    TITLE_PT,
    settings,
)
from blindfield.model.field import Field
from blindfield.searcher.values import Problem, Trace

PAGE_IN = (8.27, 11.69)
_LEFT_IN, _WIDE_IN = 0.85, 7.12
_PLAN = (_LEFT_IN, 5.42, 5.1, 5.1)  # left, bottom, width, height in inches
_CLOSE = (_LEFT_IN, 2.98, _WIDE_IN, 1.75)
_TRACE = (_LEFT_IN, 0.82, _WIDE_IN, 1.6)
_LANE_IN = 0.27
_MARGIN_IN = 0.35
MOST_CLOSEUPS = 3


def build(
    problem: Problem,
    trace: Trace,
    *,
    searcher: str,
    yours: Timeline | None = None,
    place: Field | None = None,
) -> Figure:
    """The page; see `pictures.draw_picture`, which checks."""
    with settings():
        figure = Figure(figsize=PAGE_IN, dpi=100, facecolor="white")
        _headline(figure, problem, searcher, yours)
        _plan(figure, problem, trace, place)
        _closeups(figure, problem, trace)
        _below(figure, trace, problem.time_limit_s, yours)
        return figure


def _axes(figure: Figure, box_in: tuple[float, float, float, float]) -> Axes:
    left, bottom, width, height = box_in
    wide, high = PAGE_IN
    return figure.add_axes((left / wide, bottom / high, width / wide, height / high))


def _write(figure: Figure, x_in: float, y_in: float, text: str, **style: Any) -> None:
    figure.text(x_in / PAGE_IN[0], y_in / PAGE_IN[1], text, **style)


def _headline(figure: Figure, problem: Problem, searcher: str, yours: Timeline | None) -> None:
    title = shown_name(problem.title, 42) or "One search"
    _write(
        figure, _MARGIN_IN, 11.2, title[0].upper() + title[1:], fontsize=TITLE_PT,
        fontweight="bold",
    )  # fmt: skip
    told = "Modelled, nobody walked it" if yours is None else "Modelled, with the finds of your run"
    _write(figure, _MARGIN_IN, 10.88, f"{told}: {searcher}", fontsize=TEXT_PT)
    _write(
        figure, PAGE_IN[0] - _MARGIN_IN, 11.2, "MODEL", fontsize=TITLE_PT, fontweight="bold",
        ha="right", color="white", bbox={"boxstyle": "square,pad=0.3", "fc": INK, "ec": INK},
    )  # fmt: skip


def _plan(figure: Figure, problem: Problem, trace: Trace, place: Field | None) -> None:
    left, bottom, width, height = _PLAN
    axes = _axes(figure, _PLAN)
    area = area_shown(problem, trace)
    m_per_inch = max(area.width_m / width, area.height_m / height)
    draw_plan(sheet_on(axes, area, m_per_inch), problem, trace, place)
    axes.set_anchor("NW")
    legend = figure.legend(
        handles=_handles(trace, place),
        loc="upper left",
        bbox_to_anchor=((left + width + 0.1) / PAGE_IN[0], (bottom + height) / PAGE_IN[1]),
        frameon=False, fontsize=TEXT_PT, handlelength=2.4, borderaxespad=0.0, labelspacing=0.75,
    )  # fmt: skip
    legend.set_zorder(20)


def _handles(trace: Trace, place: Field | None) -> list[Line2D | Patch]:
    found: list[Line2D | Patch] = []
    for phase in phases_of(trace):
        look = LOOKS[phase]
        label = f"{look.words} {whole_text(seconds_in(trace, phase))}"
        if look.hatch:
            found.append(Patch(fc=look.tint, ec=look.colour, hatch=look.hatch, label=label))
        else:
            found.append(
                Line2D([], [], color=look.colour, linestyle=look.dashes, lw=look.width_pt,
                       label=label)
            )  # fmt: skip
    found += [
        Line2D([], [], color=INK, lw=1.3, label="displayed\ndistance"),
        Line2D([], [], color=GREY, lw=1.0, label="flux line"),
        Line2D([], [], label="start", **{**START, "ms": 10}),
        Line2D([], [], label="signal search\nleft", **LEFT),
        Line2D([], [], label="target", **TARGET),
        Line2D([], [], label="probe stroke", **PROBE),
        Line2D([], [], label="strike", **STRUCK),
    ]
    if place is not None and place.keep_outs:
        found.append(Patch(label="kept out", **KEPT_OUT))
    return found


def _closeups(figure: Figure, problem: Problem, trace: Trace) -> None:
    found = [source for source in problem.sources if source.name in trace.found]
    found = sorted(found, key=lambda source: trace.found[source.name])[:MOST_CLOSEUPS]
    left, bottom, width, height = _CLOSE
    columns = max(2, len(found))
    each = (width - 0.2 * (columns - 1)) / columns
    for place, source in enumerate(found):
        box = (left + place * (each + 0.2), bottom, each, height)
        draw_closeup(_axes(figure, box), problem, trace, source, (each, height))
    if found:
        _write(figure, left - 0.12, bottom + height / 2, "from near\n(grid 1 m)", fontsize=TEXT_PT,
               rotation=90, ha="right", va="center", multialignment="center")  # fmt: skip


def _below(figure: Figure, trace: Trace, limit_s: float, yours: Timeline | None) -> None:
    lanes = lanes_of(trace, yours)
    end_s = longest_s(trace, lanes)
    left, bottom, width, height = _TRACE
    tall = _LANE_IN * len(lanes)
    height -= tall - _LANE_IN
    below = _axes(figure, (left, bottom, width, height))
    draw_trace(below, trace, lanes, end_s)
    name_phases(below, trace, end_s / width)
    mark_limit(below, limit_s, end_s)
    draw_lanes(_axes(figure, (left, bottom + height + 0.04, width, tall)), lanes, end_s, width)
    _write(figure, _MARGIN_IN, 0.2, FOOT, fontsize=SMALL_PT)


FOOT = (
    "Field and distances at the snow surface; a receiver reads the strongest target as though "
    "coaxial. Practice only."
)
