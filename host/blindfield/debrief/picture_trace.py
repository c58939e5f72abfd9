"""The distance displayed over the run, its phases, and the finds: the model's, and yours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from blindfield.debrief.picture_labels import called
from blindfield.debrief.picture_phases import LOOKS, Stretch, stretches
from blindfield.debrief.values import Timeline, middle
from blindfield.debrief.words import span_text, whole_text
from blindfield.field.prints_ink import (
    CARD,
    CHARACTER_WIDTH,
    FAINT,
    INK,
    PT_PER_INCH,
    SMALL_PT,
    TEXT_PT,
)
from blindfield.physics.arrays import Bools
from blindfield.searcher.values import Trace

DISTANCES_M = (1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 40.0, 80.0)
_STEPS_S = (10.0, 30.0, 60.0, 120.0, 300.0, 600.0)
_MOST_TICKS = 9
_SPARE = 1.02  # of the time axis, so that the last find stands inside


@dataclass(frozen=True)
class Split:
    """A find on a lane: who, when, and the moment in words."""

    name: str
    run_s: float
    words: str


@dataclass(frozen=True)
class Lane:
    title: str
    splits: tuple[Split, ...]


def lanes_of(trace: Trace, yours: Timeline | None) -> list[Lane]:
    """The model's finds; above them those of the real run, if there is one."""
    found = sorted(trace.found.items(), key=lambda one: one[1])
    lanes = [Lane("model", tuple(Split(name, s, whole_text(s)) for name, s in found))]
    if yours is not None:
        finds = tuple(
            Split(find.target, middle(find.run_s), span_text(find.run_s)) for find in yours.finds
        )
        lanes.insert(0, Lane("yours", finds))
    return lanes


def longest_s(trace: Trace, lanes: Sequence[Lane]) -> float:
    """The end of the time axis."""
    ends = [float(trace.run_s[-1]), *(split.run_s for lane in lanes for split in lane.splits)]
    return max(1.0, *ends) * _SPARE


def draw_lanes(axes: Axes, lanes: Sequence[Lane], end_s: float, width_in: float) -> None:
    """A row for each: from find to find, with its moment in words where there is room."""
    axes.set_xlim(0.0, end_s)
    axes.set_ylim(len(lanes) - 0.5, -0.5)
    axes.set_yticks(range(len(lanes)), [lane.title for lane in lanes], fontweight="bold")
    axes.tick_params(length=0, labelbottom=False)
    for spine in axes.spines.values():
        spine.set_visible(False)
    for row, lane in enumerate(lanes):
        before_s = 0.0
        if not lane.splits:
            axes.text(0.0, row, "no find", fontsize=TEXT_PT, va="center")
        for number, split in enumerate(lane.splits, 1):
            _leg(axes, row, number, split, before_s, end_s / width_in)
            before_s = split.run_s


def _leg(
    axes: Axes, row: int, number: int, split: Split, before_s: float, s_per_inch: float
) -> None:
    length_s = split.run_s - before_s
    fill = FAINT if number % 2 else "white"
    axes.add_patch(
        Rectangle((before_s, row - 0.36), length_s, 0.72, fc=fill, ec=INK, lw=1.2, zorder=3)
    )
    axes.plot([split.run_s] * 2, [row - 0.42, row + 0.42], color=INK, lw=3.0, zorder=4)
    name = called(split.name, 14)
    room = (length_s / s_per_inch * PT_PER_INCH - 8) / (CHARACTER_WIDTH * TEXT_PT)
    texts = (f"{name}  {split.words}", split.words)
    text = next((one for one in texts if len(one) <= room), "")
    axes.text(
        split.run_s - 0.07 * s_per_inch, row + 0.02, text, fontsize=TEXT_PT, ha="right",
        va="center", zorder=5,
    )  # fmt: skip


def draw_trace(axes: Axes, trace: Trace, lanes: Sequence[Lane], end_s: float) -> None:
    """Displayed distance on a logarithmic axis, so that the last metres can be read as well."""
    shown = trace.displayed_m[~np.isnan(trace.displayed_m)]
    low, high = (0.8, 50.0) if not shown.size else (float(shown.min()), float(shown.max()))
    axes.set_yscale("log")
    axes.set_xlim(0.0, end_s)
    axes.set_ylim(min(0.9, low * 0.85), max(12.0, high * 1.25))
    _axes_of_trace(axes, end_s)
    for stretch in stretches(trace):
        _shade(axes, trace, stretch)
    axes.plot(trace.run_s, trace.displayed_m, color="white", lw=4.4, zorder=3)
    for stretch in stretches(trace):
        look, rows = LOOKS[stretch.phase], stretch.rows
        axes.plot(
            trace.run_s[rows], trace.displayed_m[rows], color=look.colour, linestyle=look.dashes,
            lw=look.width_pt, dash_capstyle="butt", zorder=4,
        )  # fmt: skip
    for lane in lanes:
        for split in lane.splits:
            style = "-" if lane.title == "model" else (0, (2, 2))
            axes.axvline(split.run_s, color=INK, lw=1.4, linestyle=style, zorder=2.5)


def _shade(axes: Axes, trace: Trace, stretch: Stretch) -> None:
    look = LOOKS[stretch.phase]
    axes.axvspan(
        float(trace.run_s[stretch.first]), _end_s(trace, stretch), fc=look.tint, ec=look.colour,
        hatch=look.hatch or None, lw=0.0, zorder=1,
    )  # fmt: skip


def name_phases(axes: Axes, trace: Trace, s_per_inch: float) -> None:
    """The phases in words where there is room: upright, above or below the line."""
    line_s = SMALL_PT * 1.3 / PT_PER_INCH * s_per_inch
    for stretch in stretches(trace):
        from_s, to_s = float(trace.run_s[stretch.first]), _end_s(trace, stretch)
        if to_s - from_s < line_s:
            continue
        look, middle_s = LOOKS[stretch.phase], (from_s + to_s) / 2
        above = _is_low(axes, trace, np.abs(trace.run_s - middle_s) < line_s)
        axes.text(
            middle_s, 0.95 if above else 0.06, look.words, rotation=90, fontsize=SMALL_PT,
            ha="center", va="top" if above else "bottom", zorder=2.7,
            transform=axes.get_xaxis_transform(),
            bbox={"boxstyle": "square,pad=0.1", "fc": look.tint, "ec": "none"},
        )  # fmt: skip


def _is_low(axes: Axes, trace: Trace, rows: Bools) -> bool:
    """Whether the line runs through the lower half there; it does not where nothing is shown."""
    shown = trace.displayed_m[rows & ~np.isnan(trace.displayed_m)]
    low, high = np.log(axes.get_ylim())
    return bool(shown.size) and float(np.log(shown).mean()) < (low + high) / 2


def mark_limit(axes: Axes, limit_s: float, end_s: float) -> None:
    """The time limit, where the time axis reaches it."""
    if limit_s < end_s:
        axes.axvline(limit_s, color=INK, lw=2.2, linestyle=(0, (1, 1)), zorder=5)
        place = axes.get_xaxis_transform()
        axes.text(
            limit_s, 0.5, "time limit", rotation=90, fontsize=SMALL_PT, zorder=6, transform=place,
            **CARD,
        )  # fmt: skip


def _end_s(trace: Trace, stretch: Stretch) -> float:
    return float(trace.run_s[min(stretch.last + 1, len(trace.run_s) - 1)])


def _axes_of_trace(axes: Axes, end_s: float) -> None:
    low, high = axes.get_ylim()
    axes.yaxis.set_major_locator(FixedLocator([d for d in DISTANCES_M if low <= d <= high]))
    axes.yaxis.set_minor_locator(NullLocator())
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    step_s = next((step for step in _STEPS_S if end_s / step <= _MOST_TICKS), 1200.0)
    axes.xaxis.set_major_locator(FixedLocator(np.arange(0.0, end_s, step_s).tolist()))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: whole_text(value)))
    axes.set_axisbelow(False)
    axes.grid(color=FAINT, linewidth=0.8, zorder=1.5)
    axes.set_xlabel("run time, min:s")
    axes.set_ylabel("displayed, m\n(model)")
