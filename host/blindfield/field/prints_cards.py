"""Staking cards to cut out: one for each hole, four on a page, each A6."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from matplotlib.figure import Figure
from matplotlib.patches import Polygon

from blindfield.field.map_targets import UPRIGHT_DEG
from blindfield.field.pegs import point_named
from blindfield.field.prints_ink import GREY, INK, SMALL_PT, TEXT_PT, settings
from blindfield.field.prints_page import A4_IN, Page, fitted, text_width_in
from blindfield.field.staking import Card, Sheet
from blindfield.model.field import Field, Point

ON_A_PAGE = 4
CARD_IN = (A4_IN[0] / 2, A4_IN[1] / 2)
_INSET_IN = 0.4
_SKETCH_IN = 1.75
_NAME_PT, _LONG_NAME_PT, _DEPTH_PT, _WORDS_PT = 34.0, 14.0, 24.0, 12.0


def cards(place: Field, sheet: Sheet) -> list[Figure]:
    """The pages; none without cards. `place` gives the ground that each card sketches."""
    pages = []
    with settings():
        for first in range(0, len(sheet.cards), ON_A_PAGE):
            page = Page()
            _cut_lines(page)
            for n, card in enumerate(sheet.cards[first : first + ON_A_PAGE]):
                _card(page, place, sheet, card, (n % 2 * CARD_IN[0], (1 - n // 2) * CARD_IN[1]))
            pages.append(page.figure)
    return pages


def _cut_lines(page: Page) -> None:
    wide, high = A4_IN
    style = {"lw": 1.0, "ls": (0, (6, 4)), "color": GREY}
    page.line((wide / 2, wide / 2), (0.25, high - 0.25), **style)
    page.line((0.25, wide - 0.25), (high / 2, high / 2), **style)
    page.write(wide / 2, high - 0.36, "✂", 14.0, ha="center", rotation=-90)
    page.write(0.28, high / 2, "✂", 14.0, va="center")


def _card(page: Page, place: Field, sheet: Sheet, card: Card, corner_in: Point) -> None:
    left_in = corner_in[0] + _INSET_IN
    wide_in = CARD_IN[0] - 2 * _INSET_IN
    top_in = corner_in[1] + CARD_IN[1] - _INSET_IN
    words = f"Card {card.number} of {len(sheet.cards)}"
    page.write(left_in + wide_in, top_in - 0.12, words, SMALL_PT, ha="right")
    title = "decoy pit" if card.is_decoy else card.name
    room_in = wide_in - text_width_in(words, SMALL_PT) - 0.1
    if fitted(title, _NAME_PT, room_in, bold=True)[1] >= _LONG_NAME_PT:
        page.write(left_in, top_in - 0.42, title, _NAME_PT, bold=True, most_in=room_in)
    else:
        page.paragraph(left_in, top_in, title, _LONG_NAME_PT, room_in, bold=True)
    top_in -= 0.85
    page.write(left_in, top_in, f"{card.depth_m:.2f} m deep", _DEPTH_PT, bold=True)
    _sketch(page, place, sheet.pegs, card,
            (left_in + wide_in - _SKETCH_IN, top_in - 0.2 - _SKETCH_IN))  # fmt: skip
    _tapes(page, card, left_in, top_in - 0.2, wide_in - _SKETCH_IN - 0.12)
    top_in -= 0.2 + _SKETCH_IN + 0.1
    base = (
        f"Or base line {card.line}: {card.along_m:.2f} m from {card.line[0]}, then "
        f"{card.offset_m:.2f} m square off it."
    )
    top_in = page.paragraph(left_in, top_in, base, TEXT_PT, wide_in) - 0.05
    top_in = page.paragraph(left_in, top_in, _sentence(card.lies), _WORDS_PT, wide_in, bold=True)
    if not card.is_decoy:
        _as_done(page, left_in, corner_in[1] + _INSET_IN, wide_in)


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}."


def _tapes(page: Page, card: Card, left_in: float, top_in: float, wide_in: float) -> None:
    one, other = card.arcs
    rows = [("From", one), ("From", other)] + ([("Check", card.check)] if card.check else [])
    for words, length in rows:
        top_in -= 0.24
        page.write(left_in, top_in, f"{words} {length.origin}", TEXT_PT, most_in=wide_in)
        top_in -= 0.26
        page.write(left_in, top_in, f"{length.length_m:.2f} m", _WORDS_PT + 3, bold=True,
                   most_in=wide_in)  # fmt: skip


def _as_done(page: Page, left_in: float, bottom_in: float, wide_in: float) -> None:
    """Lines for what was really done, in the order in which `survey` asks."""
    rows = (("Really: depth", "lies"), ("Tape", "Tape", "Tape"), ("By", "Time"))
    page.line((left_in, left_in + wide_in), (bottom_in + 0.98, bottom_in + 0.98), lw=0.8)
    for n, words in enumerate(rows):
        y_in = bottom_in + 0.66 - 0.33 * n
        each_in = wide_in / len(words)
        for k, word in enumerate(words):
            x_in = left_in + k * each_in
            page.write(x_in, y_in, word, SMALL_PT)
            used_in = text_width_in(word, SMALL_PT) + 0.06
            page.blank(x_in + used_in, y_in - 0.03, each_in - used_in - 0.08)


def _sketch(
    page: Page, place: Field, pegs: Mapping[str, Point], card: Card, corner_in: Point
) -> None:
    """The ground with its pegs, the hole, the two tapes to it, and how the antenna points."""
    outline_m: Sequence[Point] = place.outline_m
    xs, ys = zip(*outline_m, *pegs.values(), strict=True)
    pad_in = 0.2
    scale = max(max(xs) - min(xs), max(ys) - min(ys)) / (_SKETCH_IN - 2 * pad_in)

    def at(point_m: Point) -> Point:
        return (
            corner_in[0] + pad_in + (point_m[0] - min(xs)) / scale,
            corner_in[1] + _SKETCH_IN - pad_in - (max(ys) - point_m[1]) / scale,
        )

    page.add(Polygon([at(corner) for corner in outline_m], closed=True, fc="none", ec=INK, lw=1.4))
    x_in, y_in = at((min(xs), (min(ys) + max(ys)) / 2))
    page.arrow((x_in - 0.27, y_in - 0.2), (x_in - 0.27, y_in + 0.12))
    page.write(x_in - 0.27, y_in + 0.15, "y", SMALL_PT, ha="center")
    hole = at((card.x_m, card.y_m))
    for length in card.arcs:
        begin = at(point_named(place, length.origin))
        page.line((begin[0], hole[0]), (begin[1], hole[1]), lw=0.9, ls=(0, (4, 3)))
    middle = (sum(xs) / len(xs), sum(ys) / len(ys))
    for name, peg_m in pegs.items():
        dx, dy = peg_m[0] - middle[0], peg_m[1] - middle[1]
        away = math.hypot(dx, dy) or 1.0
        x_in, y_in = at(peg_m)
        page.write(x_in + 0.13 * dx / away, y_in + 0.13 * dy / away, name, SMALL_PT, bold=True,
                   ha="center", va="center")  # fmt: skip
    _hole(page, card, hole)


def _hole(page: Page, card: Card, hole_in: Point) -> None:
    page.line((hole_in[0],) * 2, (hole_in[1],) * 2, marker="o", ms=7, mfc=INK, mec="white")
    if card.azimuth_deg is None or abs(card.tilt_deg or 0.0) > UPRIGHT_DEG:
        return
    turn = math.radians(card.azimuth_deg)
    dx, dy = 0.24 * math.sin(turn), 0.24 * math.cos(turn)
    page.arrow((hole_in[0] - dx, hole_in[1] - dy), (hole_in[0] + dx, hole_in[1] + dy))
