"""What the map says of each target in a table below it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from blindfield.field.as_built import BuiltTarget, DepthBand, Flag
from blindfield.field.map_targets import UPRIGHT_DEG, depth_words
from blindfield.field.pegs import pegs_of
from blindfield.field.prints_page import Page, text_width_in
from blindfield.model.field import Field

ROW_IN, NOTE_IN, HEAD_IN = 0.235, 0.18, 0.34
CELL_PT, NOTE_PT = 10.0, 9.0
TAPE_M = 50.0
AS_PLANNED = "*"
COLUMNS = (
    *("Target", "Depth", "Known from", "Snow", "State", "Antenna", "x, y (m)", "From pegs (m)"),
)
_SHARES = (0.115, 0.09, 0.185, 0.07, 0.105, 0.145, 0.12, 0.17)
_GAP_IN = 0.08
_WIDTH_IN = 7.37  # of an upright page: what is too long there has a line of its own


@dataclass(frozen=True)
class Row:
    """What the table says of one target; `notes` are what whoever digs must know besides."""

    name: str
    depth: str
    known: str
    snow: str
    state: str
    antenna: str
    place: str
    pegs: str
    notes: str

    @property
    def cells(self) -> tuple[str, ...]:
        return (
            self.name, self.depth, self.known, self.snow, self.state, self.antenna, self.place,
            self.pegs,
        )  # fmt: skip


def row_of(place: Field, one: BuiltTarget, band_m: DepthBand) -> Row:
    """`place` gives the pegs; a depth outside the band is noted."""
    target, said = one.target, one.depth_said
    two = "  ".join(f"{name} {away_m:.2f}" for name, away_m in two_pegs(place, one))
    return Row(
        name=target.name,
        depth=depth_words(one),
        known=f"{said.utc[:10]} {said.source}".strip() if one.depth_known else "–",
        snow=f"{one.snow_since_m:+.2f}" if one.snow_changed and target.state.lies else "",
        state=target.state.value,
        antenna=antenna_words(target.antenna_azimuth_deg, target.antenna_tilt_deg),
        place=f"{target.x_m:.1f}, {target.y_m:.1f}{'' if one.place_measured else AS_PLANNED}",
        pegs=two,
        notes=_notes(one, band_m),
    )


def two_pegs(place: Field, one: BuiltTarget) -> list[tuple[str, float]]:
    """The two pegs whose tapes cross best at the target, near ones before far: letter, metres."""
    at_m = (one.target.x_m, one.target.y_m)
    pegs = pegs_of(place)

    def worth(pair: tuple[str, str]) -> float:
        away = [(pegs[name][0] - at_m[0], pegs[name][1] - at_m[1]) for name in pair]
        lengths = [math.hypot(*a) for a in away]
        if min(lengths) < 1.0:
            return -1.0  # a peg beside the target gives no direction
        turned = abs(away[0][0] * away[1][1] - away[0][1] * away[1][0])
        beyond = sum(length > TAPE_M for length in lengths)
        return turned / (lengths[0] * lengths[1]) - beyond - 0.004 * sum(lengths)

    best = max(combinations(pegs, 2), key=worth)
    return [(name, math.dist(pegs[name], at_m)) for name in best]


def antenna_words(azimuth_deg: float | None, tilt_deg: float | None) -> str:
    """How the antenna lies: "45°", "45°, 10° up", "upright"; clockwise from the y axis."""
    if tilt_deg is not None and abs(tilt_deg) > UPRIGHT_DEG:
        return "upright"
    if azimuth_deg is None:
        return "not noted"
    tilt = round(tilt_deg or 0.0)
    end = f", {abs(tilt)}° {'up' if tilt > 0 else 'down'}" if tilt else ""
    return f"{round(azimuth_deg) % 360}°{end}"


def _notes(one: BuiltTarget, band_m: DepthBand) -> str:
    return "; ".join(flag for flag in one.flags(band_m) if flag is not Flag.SNOW_SINCE)


def height_of(rows: Sequence[Row]) -> float:
    """How high a table of these rows is, inches."""
    return HEAD_IN + sum(ROW_IN + NOTE_IN * (bool(row.notes) + _is_long(row)) for row in rows)


def draw_table(page: Page, top_in: float, rows: Sequence[Row]) -> None:
    """The table from `top_in` down, as wide as the page."""
    widths = [share * page.width_in for share in _SHARES]
    lefts = [page.left_in + sum(widths[:n]) for n in range(len(widths))]
    columns = list(zip(lefts, [width - _GAP_IN for width in widths], strict=True))
    for (left, width), words in zip(columns, COLUMNS, strict=True):
        page.write(left, top_in - 0.2, words, CELL_PT, bold=True, most_in=width)
    y_in = top_in - HEAD_IN
    span = (page.left_in, page.right_in)
    page.line(span, (y_in + 0.06, y_in + 0.06), lw=1.4)
    for row in rows:
        y_in = _draw_row(page, columns, y_in, row)
        page.line(span, (y_in, y_in), lw=0.5)


def _draw_row(page: Page, columns: Sequence[tuple[float, float]], top_in: float, row: Row) -> float:
    y_in = top_in - ROW_IN + 0.06
    cells = row.cells
    if _is_long(row):
        page.write(page.left_in, y_in, row.name, CELL_PT, bold=True, most_in=page.width_in)
        cells = ("", *cells[1:])
        y_in -= NOTE_IN
    for n, ((left, width), words) in enumerate(zip(columns, cells, strict=True)):
        page.write(left, y_in, words, CELL_PT, bold=n < 2, most_in=width)
    if row.notes:
        y_in -= NOTE_IN
        left = columns[1][0]
        page.write(left, y_in, f"Mind: {row.notes}", NOTE_PT, bold=True,
                   most_in=page.right_in - left)  # fmt: skip
    return y_in - 0.06


def _is_long(row: Row) -> bool:
    """Whether the name has no room beside the rest."""
    return text_width_in(row.name, CELL_PT, bold=True) > _SHARES[0] * _WIDTH_IN - _GAP_IN
