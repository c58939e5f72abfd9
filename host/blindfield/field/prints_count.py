"""The count sheet: every target out and in again, its battery, checked silent, who and when."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.figure import Figure

from blindfield.field.prints_ink import SMALL_PT, TEXT_PT, settings
from blindfield.field.prints_page import FOOT_IN, Page, fitted
from blindfield.model.field import Field, Post, Target

ROW_IN, LEAST_ROW_IN = 0.4, 0.2
SPARE_ROWS = 2
LONG_NAME_PT = 7.5
_COLUMNS = (*("Device", "No.", "Time", "Who", "Battery V", "Time", "Who", "Battery V", "Silent"),)
_SHARES = (0.185, 0.085, 0.085, 0.125, 0.11, 0.085, 0.125, 0.11, 0.09)
_GROUPS = (("OUT", 2, 5), ("IN", 5, 9))
_CLOSING = (
    "Counted out: ______   Counted in: ______   The two are the same.",
    "Every target was asked and is silent; a receiver walked over the field hears nothing.",
    "Pits filled or flagged. Pegs, flags, cables and the post are in.",
    "Own transceivers back to SEND. Group check.",
)
_BOX_IN = 0.17


def count_sheet(place: Field) -> list[Figure]:
    """One page, more where the rows would get too low for a pencil. It tells no place."""
    devices: list[Target | Post | None] = [*place.targets, *place.posts, *[None] * SPARE_ROWS]
    with settings():
        room_in = _page(place)[1] - _closing_in(Page())
        most = int(room_in / LEAST_ROW_IN)
        pages = []
        for first in range(0, len(devices), most):
            page, top_in = _page(place)
            _rows(page, top_in, devices[first : first + most], room_in)
            _closing(page)
            pages.append(page.figure)
        return pages


def _page(place: Field) -> tuple[Page, float]:
    page = Page()
    below = "Out when they go into the snow, in when they are in your hands. Nobody goes before."
    top_in = page.headline(place.name, "COUNT SHEET", below)
    page.write(page.left_in, top_in - 0.22, "Date", TEXT_PT)
    page.blank(page.left_in + 0.45, top_in - 0.25, 1.6)
    page.write(page.left_in + 2.3, top_in - 0.22, "Who is responsible", TEXT_PT)
    page.blank(page.left_in + 3.95, top_in - 0.25, page.width_in - 3.95)
    return page, _heads(page, top_in - 0.4)


def _heads(page: Page, top_in: float) -> float:
    lefts = _lefts(page)
    for words, begin, end in _GROUPS:
        page.write((lefts[begin] + lefts[end]) / 2, top_in - 0.18, words, TEXT_PT, bold=True,
                   ha="center")  # fmt: skip
    for n, words in enumerate(_COLUMNS):
        page.write(lefts[n] + 0.04, top_in - 0.4, words, SMALL_PT, bold=True,
                   most_in=lefts[n + 1] - lefts[n] - 0.08)  # fmt: skip
    return top_in - 0.48


def _rows(
    page: Page, top_in: float, devices: Sequence[Target | Post | None], room_in: float
) -> None:
    high_in = min(ROW_IN, room_in / len(devices))
    lefts = _lefts(page)
    end_in = top_in - high_in * len(devices)
    for n, device in enumerate(devices):
        bottom_in = top_in - (n + 1) * high_in
        base_in = bottom_in + high_in / 2 - 0.055
        if device is not None:
            number = f"…{device.device_id.hex()[-4:]}"
            room_in = lefts[1] - lefts[0] - 0.08
            _name(page, device.name, lefts[0] + 0.04, base_in, room_in)
            page.write(lefts[1] + 0.04, base_in, number, SMALL_PT, most_in=lefts[2] - lefts[1])
            silent_in = (lefts[-2] + lefts[-1]) / 2 - _BOX_IN / 2
            page.frame(silent_in, bottom_in + (high_in - _BOX_IN) / 2, _BOX_IN, _BOX_IN)
        page.line((lefts[0], lefts[-1]), (bottom_in, bottom_in), lw=0.6)
    page.frame(lefts[0], end_in, lefts[-1] - lefts[0], top_in - end_in, lw=1.4)
    for n, left in enumerate(lefts[1:-1], 1):
        thick = n in (2, 5)
        page.line((left, left), (end_in, top_in), lw=1.8 if thick else 0.6)


def _name(page: Page, name: str, x_in: float, base_in: float, room_in: float) -> None:
    """In one line, or a long one in two small ones."""
    if fitted(name, TEXT_PT, room_in, bold=True)[1] > LONG_NAME_PT:
        page.write(x_in, base_in, name, TEXT_PT, bold=True, most_in=room_in)
    else:
        page.paragraph(x_in, base_in + 0.17, name, LONG_NAME_PT, room_in, bold=True)


def _closing(page: Page) -> None:
    y_in = _closing_in(page) - 0.3
    for line in _CLOSING:
        page.frame(page.left_in, y_in - 0.02, _BOX_IN, _BOX_IN)
        page.write(page.left_in + 0.3, y_in, line, TEXT_PT, most_in=page.width_in - 0.3)
        y_in -= 0.3
    page.foot()


def _closing_in(page: Page) -> float:
    """Where the closing lines begin."""
    return page.bottom_in + FOOT_IN + 0.3 * len(_CLOSING) + 0.1


def _lefts(page: Page) -> list[float]:
    """The left edge of each column, and the right one of the last."""
    return [page.left_in + sum(_SHARES[:n]) * page.width_in for n in range(len(_SHARES) + 1)]
