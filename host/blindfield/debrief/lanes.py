"""The drawn timeline: one lane per target, over one scale of run time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import TypeAlias

from rich.console import Console, ConsoleOptions, RenderResult
from rich.text import Text

from blindfield.debrief.glyphs import Glyphs
from blindfield.debrief.values import FINDING, TargetStory, Timeline, middle
from blindfield.debrief.words import whole_text

Cell: TypeAlias = tuple[str, str]  # a character and its style

# Seconds between the marks of the scale, the smallest that leaves room for the times.
STEPS_S = (5, 10, 15, 30, 60, 120, 300, 600, 1200)
_ROOM_FOR_TIME = 9
_LONGEST_NAME = 16
_MARGIN = 1.04


@dataclass(frozen=True)
class Scale:
    """Run time to columns: 0 s is column 0, `length_s` the last of `columns`."""

    length_s: float
    columns: int

    def column(self, run_s: float) -> int:
        """The column of a time; times outside go to the edge."""
        place = int(run_s / self.length_s * self.columns)
        return max(0, min(self.columns - 1, place))

    def marks(self) -> Iterator[tuple[int, int]]:
        """(column, whole seconds) of each mark."""
        least_s = _ROOM_FOR_TIME * self.length_s / self.columns
        step_s = next((step for step in STEPS_S if step >= least_s), STEPS_S[-1])
        for run_s in range(0, int(self.length_s) + 1, step_s):
            yield self.column(run_s), run_s


def length_s(timeline: Timeline) -> float:
    """How much run time the drawing has to hold, at least ten seconds."""
    last = [10.0]
    if timeline.end_run_s is not None:
        last.append(middle(timeline.end_run_s))
    for target in timeline.targets:
        last += [middle(strike.run_s) for strike in target.strikes]
        last += [] if target.dug_out is None else [middle(target.dug_out)]
    return max(last) * _MARGIN


class Lanes:
    """Renders at the width it is given."""

    def __init__(self, timeline: Timeline, glyphs: Glyphs) -> None:
        self.timeline = timeline
        self.glyphs = glyphs

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        names = [target.name for target in self.timeline.targets]
        label = min(_LONGEST_NAME, max(map(len, names), default=0)) + 4
        scale = Scale(length_s(self.timeline), max(20, options.max_width - label))
        for target in self.timeline.targets:
            if target.strikes or target.dug_out is not None:
                yield self._marks(target, scale, label)
            yield self._bar(target, scale, label)
        yield from _axis(scale, label, self.glyphs)
        yield Text("")
        yield _legend(self.glyphs, self._limit_column(scale) is not None)

    def _limit_column(self, scale: Scale) -> int | None:
        limit_s = self.timeline.time_limit_s
        return None if limit_s is None or limit_s > scale.length_s else scale.column(limit_s)

    def _bar(self, target: TargetStory, scale: Scale, label: int) -> Text:
        sending = _sending_cells(target, scale, self.timeline)
        end = _end_column(self.timeline, scale)
        cells: list[Cell] = [
            (self.glyphs.sends, "bold cyan")
            if sends
            else (self.glyphs.rests if column <= end else " ", "dim")
            for column, sends in enumerate(sending)
        ]
        self._draw_limit(cells, scale)
        return label_text(target, label, self.glyphs).append_text(line_of(cells))

    def _marks(self, target: TargetStory, scale: Scale, label: int) -> Text:
        """The line above a bar. A sign whose column is taken moves to the right."""
        cells: list[Cell] = [(" ", "")] * scale.columns
        for run_s, sign, style in sorted(_signs(target, self.glyphs)):
            column = scale.column(run_s)
            while cells[column][0] != " " and column < scale.columns - 1:
                column += 1
            cells[column] = (sign, style)
        self._draw_limit(cells, scale)
        return Text(" " * label, no_wrap=True).append_text(line_of(cells))

    def _draw_limit(self, cells: list[Cell], scale: Scale) -> None:
        column = self._limit_column(scale)
        if column is not None and cells[column][0] in (" ", self.glyphs.sends, self.glyphs.rests):
            cells[column] = (self.glyphs.limit, "yellow")


def _signs(target: TargetStory, glyphs: Glyphs) -> Iterator[tuple[float, str, str]]:
    for strike in target.strikes:
        finds = strike.standing in FINDING
        sign = (glyphs.struck, "bold green") if finds else (glyphs.stray, "yellow")
        yield middle(strike.run_s), *sign
    if target.dug_out is not None:
        yield middle(target.dug_out), glyphs.dug_out, "bold magenta"


def line_of(cells: Sequence[Cell]) -> Text:
    """One line of single characters with their styles."""
    line = Text(no_wrap=True)
    for style, run in groupby(cells, key=lambda cell: cell[1]):
        line.append("".join(character for character, _ in run), style=style)
    return line


def label_text(target: TargetStory, width: int, glyphs: Glyphs) -> Text:
    """The target's name behind its sign, in `width` columns."""
    sign = glyphs.in_play if target.in_play else glyphs.not_in_play
    name = shortened(glyphs.text(target.name), width - 3, glyphs)
    line = Text(no_wrap=True)
    line.append(f"{sign} {name}", style="bold" if target.in_play else "dim")
    line.pad_right(max(0, width - line.cell_len))
    return line


def shortened(name: str, width: int, glyphs: Glyphs) -> str:
    """The name, cut to `width` characters with a sign that it was cut."""
    if len(name) <= width:
        return name
    return name[: width - 1] + ("~" if glyphs.plain else "…")


def _end_column(timeline: Timeline, scale: Scale) -> int:
    end = timeline.end_run_s
    return scale.columns - 1 if end is None else scale.column(middle(end))


def _sending_cells(target: TargetStory, scale: Scale, timeline: Timeline) -> Sequence[bool]:
    cells = [False] * scale.columns
    for one in target.sends:
        last = _end_column(timeline, scale) if one.end is None else scale.column(middle(one.end))
        for column in range(scale.column(middle(one.start)), last + 1):
            cells[column] = True
    return cells


def _axis(scale: Scale, label: int, glyphs: Glyphs) -> Iterator[Text]:
    ticks = [" "] * (label + scale.columns)
    times = [" "] * (label + scale.columns)
    for column, run_s in scale.marks():
        ticks[label + column] = glyphs.tick
        shown = whole_text(run_s)
        if label + column + len(shown) <= len(times):
            times[label + column : label + column + len(shown)] = shown
    yield Text("".join(ticks), style="dim", no_wrap=True)
    yield Text("".join(times), style="dim", no_wrap=True)


def _legend(glyphs: Glyphs, with_limit: bool) -> Text:
    entries = [
        (glyphs.sends * 2, "bold cyan", "sends"),
        (glyphs.rests * 2, "dim", "rests"),
        (glyphs.struck, "bold green", "first strike"),
        (glyphs.stray, "yellow", "other strike"),
        (glyphs.dug_out, "bold magenta", "dug out"),
    ]
    if with_limit:
        entries.append((glyphs.limit, "yellow", "time limit"))
    line = Text()
    for sign, style, meaning in entries:
        line.append(sign, style=style)
        line.append(f" {meaning}  ", style="dim")
    line.rstrip()
    return line
