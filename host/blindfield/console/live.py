"""The live view of a run: a pure drawing of `LiveState`, and a thin driver that keeps it on screen.

A searcher's view is blind: it shows nothing by which targets differ. A spectator's view shows all
and says so.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from types import TracebackType
from typing import Literal, Self

from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.live import Live
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from blindfield.debrief.glyphs import Glyphs, glyphs
from blindfield.debrief.plan import Spot, area_of, grid_size, plan_lines, short_labels
from blindfield.debrief.words import clock_text, whole_text
from blindfield.model.area import Area

Phase = Literal["checking", "loading", "starting", "running", "overtime", "closing"]
Signal = Literal["sends", "rests", "silent"]

MESSAGES_SHOWN = 5
WARNINGS_SHOWN = 3
LINES = 23  # one less than a terminal's 24, which would scroll
NOT_FOR_SEARCHERS = "A searcher would not see this."

_PHASES: dict[Phase, tuple[str, str]] = {
    "checking": ("Checking the field", "bold cyan"),
    "loading": ("Preparing the targets", "bold cyan"),
    "starting": ("Starting: get ready", "bold yellow"),
    "running": ("Search", "bold green"),
    "overtime": ("Overtime: the time limit is past, finish the search", "bold yellow"),
    "closing": ("Ending: every signal is switched off", "bold cyan"),
}
_SIGNS: dict[Signal, str] = {"sends": "bold cyan", "rests": "dim", "silent": "dim"}
_PLAN_COLUMNS = 28
_PLAN_ROWS = 10
# Frame 2, phase, clock, bar, the spectator's sentence, the plan's frame 2, the line after it.
_OTHER_LINES = 9


@dataclass(frozen=True, kw_only=True)
class TargetRow:
    """One target as a spectator sees it. `found` only when its strike counted."""

    name: str
    x_m: float
    y_m: float
    depth_m: float
    signal: Signal
    last: str = ""
    found: bool = False


@dataclass(frozen=True)
class Message:
    """`run_s` None: before the start."""

    run_s: float | None
    text: str


@dataclass(frozen=True, kw_only=True)
class LiveState:
    """All that the view shows. `spectator` None = the searcher's blind view.

    `to_find` None when the searcher is not told how many. `links_heard` of `links`: devices that
    can be reached now, every target counted alike. `speed`: how much faster than real time a
    demonstration runs.
    """

    phase: Phase
    field_name: str = ""
    run_s: float | None = 0.0  # None: the searcher is not to see time pass
    time_limit_s: float | None = None
    found: int = 0
    to_find: int | None = None
    links_heard: int | None = None
    links: int | None = None
    spectator: tuple[TargetRow, ...] | None = None
    searcher_xy: tuple[float, float] | None = None
    start_xy: tuple[float, float] | None = None
    messages: tuple[Message, ...] = ()
    warnings: tuple[str, ...] = ()
    speed: float = 1.0


def frame(state: LiveState, *, ascii_only: bool = False) -> RenderableType:
    """The whole view; fits 80 columns by 24 lines (a spectator's plan shrinks for it)."""
    signs = glyphs(ascii_only)
    _, style = _PHASES[state.phase]
    return Panel(
        Group(*_body(state, signs)),
        title=Text(signs.text(state.field_name or "Blindfield"), style="bold"),
        subtitle=Text("Ctrl-C: silence, and end the run", style="dim"),
        title_align="left",
        subtitle_align="right",
        border_style=style.split()[-1],
        box=signs.frame,
        padding=(0, 1),
    )


def _body(state: LiveState, signs: Glyphs) -> Iterator[RenderableType]:
    phase, style = _PHASES[state.phase]
    title = Text(phase, style=style, no_wrap=True)
    if state.speed != 1.0:
        title.append(f"   shown {state.speed:g} times as fast", style="not bold dim")
    yield title
    yield _clock_line(state, signs)
    if state.time_limit_s and state.phase in ("running", "overtime", "closing"):
        yield _Bar(state, signs)
    for warning in state.warnings[-WARNINGS_SHOWN:]:
        yield _one_line(f"! {warning}", "bold yellow", signs)
    if state.spectator is not None:
        yield Text(NOT_FOR_SEARCHERS, style="bold reverse magenta")
        yield _spectator(state, state.spectator, signs)
    yield Text("")
    for message in state.messages[-MESSAGES_SHOWN:]:
        when = "" if message.run_s is None else clock_text(message.run_s)
        yield _one_line(f"{when:>7}  {message.text}", "", signs)
    for _ in range(MESSAGES_SHOWN - len(state.messages)):
        yield Text("")


def _one_line(text: str, style: str, signs: Glyphs) -> Text:
    overflow: Literal["crop", "ellipsis"] = "crop" if signs.plain else "ellipsis"
    return Text(signs.text(text), style=style, no_wrap=True, overflow=overflow)


def _clock_line(state: LiveState, signs: Glyphs) -> Text:
    line = Text(no_wrap=True)
    line.append("no clock" if state.run_s is None else clock_text(state.run_s), style="bold")
    if state.time_limit_s is not None:
        line.append(f" of {whole_text(state.time_limit_s)}", style="dim")
    of = "" if state.to_find is None else f" of {state.to_find}"
    line.append(f"   found {state.found}{of}", style="bold")
    if state.links is not None and state.links_heard is not None:
        style = "dim" if state.links_heard == state.links else "yellow"
        line.append(f"   {state.links_heard} of {state.links} devices heard", style=style)
    return line


class _Bar:
    """How much of the time limit is gone, as wide as there is room."""

    def __init__(self, state: LiveState, signs: Glyphs) -> None:
        self.share = min(1.0, max(0.0, state.run_s or 0.0) / (state.time_limit_s or 1.0))
        self.signs = signs

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        columns = options.max_width
        done = int(columns * self.share)
        style = "yellow" if self.share >= 1.0 else "green"
        line = Text(self.signs.sends * done, style=style, no_wrap=True, end="\n")
        line.append(self.signs.rests * (columns - done), style="dim")
        yield line


def _spectator(state: LiveState, rows: tuple[TargetRow, ...], signs: Glyphs) -> Table:
    grid = Table.grid(padding=(0, 2, 0, 0))
    # Room for all messages from the start, so that the plan keeps its size as they come.
    texts = min(WARNINGS_SHOWN, len(state.warnings)) + MESSAGES_SHOWN
    height = min(_PLAN_ROWS, LINES - _OTHER_LINES - texts)
    grid.add_row(_plan(state, rows, signs, height), _targets(rows, signs, height + 2))
    return grid


def _targets(rows: tuple[TargetRow, ...], signs: Glyphs, room: int) -> Table:
    table = Table.grid(padding=(0, 2, 0, 0))
    for least, most in ((3, 3), (4, 14), (5, 5), (6, 6), (8, None)):
        table.add_column(
            no_wrap=True,
            overflow="crop" if signs.plain else "ellipsis",
            min_width=least,
            max_width=most,
        )
    shown = len(rows) if len(rows) <= room else room - 1
    for row, sign in list(zip(rows, _signs(rows, signs), strict=True))[:shown]:
        style = "bold green" if row.found else _SIGNS[row.signal]
        table.add_row(
            Text(sign, style=style),
            Text("" if row.name == sign[1:] else signs.text(row.name)),
            Text(f"{row.depth_m:.1f} m", style="dim"),
            Text(row.signal, style=_SIGNS[row.signal]),
            Text(signs.text("found" if row.found and not row.last else row.last), style=style),
        )
    if shown < len(rows):
        table.add_row("", Text(f"and {len(rows) - shown} more", style="dim"), "", "", "")
    return table


def _signs(rows: tuple[TargetRow, ...], signs: Glyphs) -> list[str]:
    labels = short_labels([signs.text(row.name) for row in rows])
    marks = {"sends": signs.in_play, "rests": signs.not_in_play, "silent": signs.not_in_play}
    return [
        f"{signs.struck if row.found else marks[row.signal]}{label}"
        for row, label in zip(rows, labels, strict=True)
    ]


def _plan(state: LiveState, rows: tuple[TargetRow, ...], signs: Glyphs, height: int) -> Panel:
    spots = [
        Spot(
            row.x_m,
            row.y_m,
            sign,
            "bold green" if row.found else _SIGNS[row.signal],
        )
        for row, sign in zip(rows, _signs(rows, signs), strict=True)
    ]
    fixed = list(spots)
    if state.start_xy is not None:
        fixed.append(Spot(*state.start_xy, "S", "yellow"))
    # The area comes from what does not move, or the plan would jump as the searcher walks.
    area: Area = area_of(fixed)
    if state.searcher_xy is not None:
        fixed.insert(0, Spot(*state.searcher_xy, signs.searcher, "bold yellow"))
    columns, lines_high = grid_size(area, _PLAN_COLUMNS, height)
    lines = plan_lines(fixed, area, columns, lines_high, signs.ground)
    return Panel(Group(*lines), box=signs.frame, border_style="dim", width=columns + 2, padding=0)


class LiveView:
    """Keeps `frame` on a console. Use as a context manager; `show` as often as things change.

    It draws only when shown something (no thread of its own), so it never tells another time than
    the state's. On a console that is no terminal only the last state is printed, at the end.
    """

    def __init__(self, console: Console, *, ascii_only: bool | None = None) -> None:
        plain = "utf" not in console.encoding.lower() if ascii_only is None else ascii_only
        self._ascii_only = plain
        self._live = Live(console=console, auto_refresh=False, transient=False)

    def show(self, state: LiveState) -> None:
        """Draw this state now."""
        self._live.update(frame(state, ascii_only=self._ascii_only), refresh=True)

    def __enter__(self) -> Self:
        self._live.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._live.stop()
        if not self._live.console.is_terminal:
            self._live.console.line()  # the last drawing ends without one
