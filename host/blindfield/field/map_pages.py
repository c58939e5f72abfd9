"""The map: full for whoever digs, blind for whoever searches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from blindfield.field.as_built import DEPTH_BAND_M, AsBuilt, BuiltTarget, DepthBand
from blindfield.field.map_ground import (
    RUN_IN_M,
    Sheet,
    draw_ground,
    draw_north,
    draw_scale,
    height_in,
    name_ground,
    outward,
    scale_of,
    sheet_on,
)
from blindfield.field.map_table import AS_PLANNED, Row, draw_table, height_of, row_of
from blindfield.field.map_targets import draw_targets, mark_of
from blindfield.field.pegs import checks_of
from blindfield.field.prints_ink import (
    INK,
    KEPT_OUT,
    PT_PER_INCH,
    SMALL_PT,
    START,
    TEXT_PT,
    settings,
)
from blindfield.field.prints_page import FOOT_IN, HEADLINE_IN, LINE_SPACING, Page, wrapped
from blindfield.model.field import Field, TargetState

LEGEND_IN = 0.95
MOST_COLUMNS = 5
NOTE_PT = 9.0
FOR_SEARCHERS_IN = 1.15  # the words below the map
MORE_IN = 0.8  # higher than the ground asks for, where the page has the room
SMALLER = 1.6  # times smaller than it could be: then the table gets a page of its own


def full_map(built: AsBuilt, band_m: DepthBand = DEPTH_BAND_M) -> list[Figure]:
    """For whoever digs: the ground and every target; one A4 page, more for a long table."""
    place = built.field
    with settings():
        rows = [row_of(place, one, band_m) for one in built.targets]
        words_in = _lengths_in(place)
        landscape, beside = _layout(place, [height_of(rows) + words_in, words_in])
        page = Page(landscape=landscape)
        top_in = page.headline(place.name, "MAP FOR WHOEVER DIGS", _as_of(built))
        top_in = _draw(page, place, top_in, beside, built.targets)
        top_in = page.paragraph(page.left_in, top_in, _lengths(place), NOTE_PT, page.width_in)
        page.foot()
        pages = [page]
        if beside > words_in:
            draw_table(page, top_in - 0.04, rows)
            rows = []
        while rows:
            page, rows = _table_page(place, rows)
            pages.append(page)
        return [one.figure for one in pages]


def blind_map(place: Field) -> list[Figure]:
    """For whoever searches: the ground, pegs and starts. The same whatever lies in it."""
    place = replace(place, targets=())
    with settings():
        landscape, words_in = _layout(place, [FOR_SEARCHERS_IN])
        page = Page(landscape=landscape)
        top_in = page.headline(
            place.name, "MAP FOR WHOEVER SEARCHES", "Where the ground ends and where to start. "
            "Nothing here tells what lies in it.",
        )  # fmt: skip
        top_in = _draw(page, place, top_in, words_in, ())
        for line in _FOR_SEARCHERS:
            top_in = page.paragraph(page.left_in, top_in, line, TEXT_PT + 1, page.width_in) - 0.04
        page.foot()
        return [page.figure]


_FOR_SEARCHERS = (
    "To stop: call to whoever conducts the run; or the button of the post, where there is one; or "
    "five even knocks by hand on a target you found, then listen: if it still sends, knock again.",
    "Stay between the pegs. Leave pegs, flags and cables where they are.",
    "At the end: own transceivers back to SEND, group check.",
)


def _layout(place: Field, below_in: Sequence[float]) -> tuple[bool, float]:
    """(across the page, how much stands below the map): the first of `below_in` unless that makes
    the map much smaller than another would."""

    def scale(landscape: bool, words_in: float) -> float:
        page = Page(landscape=landscape)
        room_in = page.height_in - HEADLINE_IN - FOOT_IN - LEGEND_IN - words_in
        return scale_of(place, (page.width_in, room_in))

    found = [
        min((scale(landscape, words_in), landscape) for landscape in (False, True))
        for words_in in below_in
    ]
    best = min(found)[0]
    chosen = next(n for n, (m_per_inch, _) in enumerate(found) if m_per_inch <= SMALLER * best)
    return found[chosen][1], below_in[chosen]


def _draw(
    page: Page, place: Field, top_in: float, words_in: float, targets: Sequence[BuiltTarget]
) -> float:
    """The map with its legend, from `top_in` down to what stands below; where the legend ends."""
    room_in = top_in - page.bottom_in - FOOT_IN - LEGEND_IN - words_in
    m_per_inch = scale_of(place, (page.width_in, room_in))
    high_in = min(room_in, height_in(place, m_per_inch) + MORE_IN)
    sheet = sheet_on(page, place, (page.left_in, top_in), (page.width_in, high_in), m_per_inch)
    draw_ground(sheet, place)
    draw_targets(sheet, targets)
    name_ground(sheet, place)
    legend_in = top_in - high_in - 0.12
    _legend(page, place, sheet, legend_in, targets)
    draw_north(page, place, page.right_in - 0.3, legend_in - 0.1)
    return legend_in - LEGEND_IN + 0.12


def _legend(
    page: Page, place: Field, sheet: Sheet, y_in: float, targets: Sequence[BuiltTarget]
) -> None:
    draw_scale(page, page.left_in, y_in, sheet)
    handles: list[Line2D | Patch] = [
        Line2D([], [], label="peg", marker="s", ms=7, mfc=INK, mec=INK, ls="none"),
        Line2D([], [], label="start", **{**START, "ms": 10}),
    ]
    if any(outward(place, start) for start in place.start_points):
        run_in = f"run-in, {RUN_IN_M:g} m"
        handles.append(Line2D([], [], label=run_in, color=INK, lw=2.6, marker=">", ms=6))
    if place.keep_outs:
        handles.append(Patch(label="kept out", **{**KEPT_OUT, "ec": INK}))
    shown = dict(mark_of(state) for state in TargetState if state in _states(targets))
    handles += [Line2D([], [], label=words, ls="none", **mark) for words, mark in shown.items()]
    if any(one.target.antenna_azimuth_deg is not None for one in targets):
        handles.append(Line2D([], [], label="antenna", color=INK, lw=2.0, marker=">", ms=5))
    wide, high = page.size_in
    page.figure.legend(
        handles=handles, loc="upper left", ncols=min(MOST_COLUMNS, len(handles)),
        frameon=False, fontsize=SMALL_PT,
        bbox_to_anchor=(page.left_in / wide, (y_in - 0.17) / high), borderaxespad=0.0,
        handletextpad=0.4, columnspacing=1.1, handlelength=1.6, borderpad=0.2,
    )  # fmt: skip


def _states(targets: Sequence[BuiltTarget]) -> set[TargetState]:
    return {one.target.state for one in targets}


def _as_of(built: AsBuilt) -> str:
    said = [
        utc
        for one in built.targets
        for utc in (one.place_said.utc, one.depth_said.utc, one.state_said.utc)
        if utc
    ]
    newest = f"As entered up to {max(said)[:10]}" if said else "As planned, nothing entered yet"
    return f"{newest}. It shows every place: keep it from whoever searches."


def _lengths(place: Field) -> str:
    lengths = ", ".join(
        f"{check.begin}-{check.end} {check.length_m:.2f}" for check in checks_of(place)
    )
    return (
        f"Between pegs, m: {lengths}. Antenna: clockwise from the y axis, up or down at that end. "
        f"Snow: since then, m. {AS_PLANNED} as planned, not measured."
    )


def _lengths_in(place: Field) -> float:
    """How high `_lengths` stands on an upright page, with a gap."""
    lines = len(wrapped(_lengths(place), NOTE_PT, Page().width_in))
    return lines * NOTE_PT * LINE_SPACING / PT_PER_INCH + 0.14


def _table_page(place: Field, rows: Sequence[Row]) -> tuple[Page, list[Row]]:
    """A page of the table, and the rows that it had no room for."""
    page = Page()
    top_in = page.headline(place.name, "MAP FOR WHOEVER DIGS", "The targets of the map.")
    room_in = top_in - page.bottom_in - FOOT_IN
    count = max(n for n in range(1, len(rows) + 1) if n == 1 or height_of(rows[:n]) <= room_in)
    draw_table(page, top_in, rows[:count])
    page.foot()
    return page, list(rows[count:])
