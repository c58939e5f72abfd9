"""The debrief on a terminal. Draws a `Timeline` and decides nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from rich import box
from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.measure import Measurement
from rich.padding import Padding
from rich.panel import Panel
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from blindfield.debrief import words
from blindfield.debrief.as_json import to_json
from blindfield.debrief.glyphs import Glyphs, glyphs
from blindfield.debrief.lanes import Lanes, label_text
from blindfield.debrief.plan import Spot, area_of, grid_size, plan_lines, short_labels
from blindfield.debrief.values import FINDING, Find, TargetStory, Timeline, middle
from blindfield.model.ids import run_id_text

__all__ = ["render", "to_json"]

_PLAN_ROWS = 13
_PLAN_SHARE = 0.5
_LEAST_PLAN = 16
_GUTTER = 3
_LONGEST_LABEL = 20


def render(
    timeline: Timeline,
    *,
    ascii_only: bool = False,
    all_targets: bool = False,
    beside: Sequence[tuple[str, RenderableType]] = (),
) -> RenderableType:
    """The whole debrief, at the width of the console that prints it (made for 80 and more).

    Of an open run only that it is open. `ascii_only` for terminals without Unicode. Of targets that
    the run had nothing to do with only their number is told, unless `all_targets`: they are the
    problems to come. `beside`: further sections, each a title and what stands under it, to follow
    the splits.
    """
    signs = glyphs(ascii_only)
    if timeline.outcome is None:
        return Text(words.CLOSED_TO_VIEW)
    told = timeline if all_targets else replace(timeline, targets=_concerned(timeline))
    kept_back = len(timeline.targets) - len(told.targets)
    return Group(*_sections(told, signs, beside, kept_back))


def _concerned(timeline: Timeline) -> tuple[TargetStory, ...]:
    return tuple(
        target
        for target in timeline.targets
        if target.in_play or target.strikes or target.dug_out is not None
    )


def _sections(
    timeline: Timeline,
    signs: Glyphs,
    beside: Sequence[tuple[str, RenderableType]],
    kept_back: int,
) -> Iterator[RenderableType]:
    yield _verdict(timeline, signs)
    if timeline.finds:
        yield _heading("Splits", signs)
        yield _splits(timeline, signs)
    others = _other_strikes(timeline, signs)
    if others is not None:
        yield Text("")
        yield others
    for title, content in beside:
        yield _heading(title, signs)
        yield _inset(content)
    if timeline.started:
        yield _heading("What happened when", signs)
        yield _inset(Lanes(timeline, signs))
    if timeline.targets:
        yield _heading("Where they were", signs)
        yield _inset(_Map(timeline, signs))
    if kept_back:
        yield _inset(Text(words.kept_back_text(kept_back), style="dim"))
    if timeline.started and any(target.cues for target in timeline.targets):
        yield _heading("What was planned", signs)
        yield _planned(timeline, signs)
    purpose = words.purpose_lines(timeline)
    if purpose:
        yield _heading("What it was for", signs)
        yield from _bullets(purpose, signs, "")
    if timeline.flags:
        yield _heading("To know about this run", signs)
        yield from _bullets([words.flag_text(flag) for flag in timeline.flags], signs, "")
    yield _heading("Read it with care", signs)
    yield from _bullets(words.honest_lines(timeline), signs, "")
    again = words.again_text(timeline)
    if again:
        yield Text("")
        yield _inset(Text(signs.text(again), style="bold"))


def _inset(inside: RenderableType) -> Padding:
    return Padding(inside, (0, 2))


def _heading(title: str, signs: Glyphs) -> Group:
    rule = Rule(Text(title, style="bold"), align="left", style="dim", characters=_line(signs))
    return Group(Text(""), rule)


def _line(signs: Glyphs) -> str:
    return "-" if signs.plain else "─"


def _verdict(timeline: Timeline, signs: Glyphs) -> Panel:
    assert timeline.outcome is not None
    word, style = words.VERDICTS[timeline.outcome], words.STYLES[timeline.outcome]
    line = Text(f"{word}. ", style=style)
    line.append(signs.text(words.verdict_text(timeline)), style="default not bold")
    about = [timeline.title]
    if timeline.about.searcher:
        knew = " (knew the places)" if timeline.about.knows_places else ""
        about.append(f"{timeline.about.searcher}{knew}")
    if timeline.start is not None:
        about.append(f"from {timeline.start.name}")
    if timeline.standard:
        about.append(f"standard: {timeline.standard}")
    return Panel(
        Group(line, Text(signs.text(signs.between.join(about)), style="dim")),
        title=Text(signs.text(timeline.field_name), style="bold"),
        subtitle=Text(f"run {run_id_text(timeline.run_id)}", style="dim"),
        title_align="left",
        subtitle_align="right",
        box=signs.frame,
        border_style=style.split()[-1],
        padding=(0, 1),
    )


def _table(*columns: str, signs: Glyphs) -> Table:
    table = Table(
        box=box.ASCII2 if signs.plain else box.SIMPLE_HEAD,
        header_style="dim",
        border_style="dim",
        pad_edge=False,
        show_edge=False,
    )
    for name in columns:
        table.add_column(name, overflow="fold")
    return table


def _splits(timeline: Timeline, signs: Glyphs) -> Padding:
    digs = timeline.end_on == "dug_out"
    other = "struck" if digs else "dug out"
    spans = [find.struck if digs else find.dug_out for find in timeline.finds]
    last = [other] if any(span is not None for span in spans) else []
    table = _table("", "target", "found at", "split", "how", *last, signs=signs)
    for find, span in zip(timeline.finds, spans, strict=True):
        before = timeline.finds[find.number - 2].target
        since = "start" if find.number == 1 else words.called(before)
        cells = [
            str(find.number),
            find.target,
            words.span_text(find.run_s),
            f"{words.span_text(find.split_s)} from {since}",
            "dug out" if digs else _how(find, timeline),
        ]
        if last:
            cells.append("" if span is None else words.span_text(span))
        table.add_row(*(Text(signs.text(cell)) for cell in cells))
    return _inset(table)


def _how(find: Find, timeline: Timeline) -> str:
    target = timeline.target_named(find.target)
    strikes = () if target is None else target.strikes
    first = next((strike for strike in strikes if strike.standing in FINDING), None)
    return "" if first is None else words.manner_text(first)


def _other_strikes(timeline: Timeline, signs: Glyphs) -> Padding | None:
    others = sorted(
        (
            (middle(strike.run_s), target.name, strike)
            for target in timeline.targets
            for strike in target.strikes
            if strike.standing not in FINDING
        ),
        key=lambda one: one[:2],
    )
    if not others:
        return None
    table = _table("other strikes", "target", "what it was", "how", signs=signs)
    for _, name, strike in others:
        cells = (
            words.span_text(strike.run_s),
            name,
            words.standing_text(strike),
            words.manner_text(strike),
        )
        table.add_row(*(Text(signs.text(cell)) for cell in cells))
    return _inset(table)


def _planned(timeline: Timeline, signs: Glyphs) -> Padding:
    table = _table("target", "planned", "did it?", signs=signs)
    for target in timeline.targets:
        for place, cue in enumerate(target.cues):
            name = _label(target, timeline, signs) if place == 0 else Text("")
            off = "bold yellow" if cue.followed in ("late", "missing") else ""
            table.add_row(
                name,
                Text(signs.text(words.plan_text(cue))),
                Text(signs.text(words.outcome_text(cue)), style=off),
            )
    return _inset(table)


def _label(target: TargetStory, timeline: Timeline, signs: Glyphs) -> Text:
    longest = max((len(one.name) for one in timeline.targets), default=0)
    return label_text(target, min(_LONGEST_LABEL, longest + 3), signs)


def _bullets(lines: tuple[str, ...] | list[str], signs: Glyphs, style: str) -> Iterator[Padding]:
    for line in lines:
        grid = Table.grid(padding=(0, 1))
        grid.add_row(Text(signs.bullet, style="dim"), Text(signs.text(line), style=style))
        yield _inset(grid)


class _Map:
    """The plan on the left, the list that goes with it on the right."""

    def __init__(self, timeline: Timeline, signs: Glyphs) -> None:
        self.timeline = timeline
        self.signs = signs
        self.labels = short_labels([signs.text(target.name) for target in timeline.targets])

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        spots = self._spots()
        area = area_of(spots)
        listed = self._list()
        beside = Measurement.get(console, options, listed).maximum + _GUTTER + 2
        room = max(
            _LEAST_PLAN, min(int(options.max_width * _PLAN_SHARE), options.max_width - beside)
        )
        columns, rows = grid_size(area, room, _PLAN_ROWS)
        lines = plan_lines(spots, area, columns, rows, self.signs.ground)
        grid = Table.grid(padding=(0, _GUTTER, 0, 0))
        plan = Panel(
            Group(*lines),
            box=self.signs.frame,
            border_style="dim",
            width=columns + 2,
            padding=0,
            subtitle=Text(f"{area.width_m:.0f} m shown", style="dim"),
        )
        grid.add_row(plan, listed)
        yield grid

    def _spots(self) -> list[Spot]:
        spots = [
            Spot(target.x_m, target.y_m, self._sign(place), _spot_style(target))
            for place, target in enumerate(self.timeline.targets, 1)
        ]
        start = self.timeline.start
        if start is not None:
            spots.insert(0, Spot(start.x_m, start.y_m, "S", "bold yellow"))
        return spots

    def _sign(self, place: int) -> str:
        target = self.timeline.targets[place - 1]
        sign = self.signs.in_play if target.in_play else self.signs.not_in_play
        return f"{sign}{self.labels[place - 1]}"

    def _list(self) -> Table:
        table = Table(box=None, padding=(0, 2, 0, 0), header_style="dim", pad_edge=False)
        for name in ("", "", "x m", "y m", "deep m", ""):
            table.add_column(name, justify="right" if name else "left", overflow="fold")
        found = {find.target: words.span_text(find.run_s) for find in self.timeline.finds}
        for place, target in enumerate(self.timeline.targets, 1):
            table.add_row(
                Text(self._sign(place), style=_spot_style(target)),
                Text("" if target.name == self.labels[place - 1] else self.signs.text(target.name)),
                f"{target.x_m:.1f}",
                f"{target.y_m:.1f}",
                f"{target.depth_m:.1f}",
                self._fate(target, found.get(target.name)),
            )
        start = self.timeline.start
        if start is not None:
            place_m = (f"{start.x_m:.1f}", f"{start.y_m:.1f}")
            label = Text(self.signs.text(start.name))
            table.add_row(Text("S", style="bold yellow"), label, *place_m, "", "start")
        return table

    def _fate(self, target: TargetStory, found: str | None) -> Text:
        if found is not None:
            return Text(self.signs.text(f"found {found}"), style="green")
        if target.in_play and target.struck is not None:
            return Text("not dug out", style="bold yellow")
        if target.in_play:
            return Text("not found", style="bold red")
        return Text("not in play", style="dim")


def _spot_style(target: TargetStory) -> str:
    return "bold cyan" if target.in_play else "dim"
