"""The warning sign for the field's edge: one A4 page that a stranger reads from some steps away."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.figure import Figure

from blindfield.field.prints_ink import SMALL_PT, settings
from blindfield.field.prints_page import Page, text_width_in
from blindfield.field.prints_pictogram import draw_buried_sender, draw_no_digging

LONGEST_MIN = 20  # no target sends longer without a person's word
BODY_PT, HEAD_PT = 15.5, 19.0
_PICTURE_IN = 2.35
_BLANKS = ("Name", "Phone")
_SILENCE = (
    "Call the people above. On a computer of the field they type: blindfield silence",
    "With a target in reach: knock on it five times by hand, evenly, about twice a second, then "
    "hold still and listen with a transceiver. If it still sends, knock again.",
    f"Left alone, each target stops at the latest {LONGEST_MIN} min after its start.",
)
_ACCIDENT = (
    "A real accident comes first. Practice stops at once.",
    "Call for help. Silence the field: practice signals hide real ones. Then search.",
)


def sign(field_name: str, calls: Sequence[str] = (), emergency: str = "") -> list[Figure]:
    """`calls`: whom to call, three at most; `emergency`: the number that calls for help.
    What is not given is left as lines to write on."""
    with settings():
        page = Page()
        top_in = _head(page)
        top_in = _section(page, top_in, "WHOM TO CALL")
        top_in = _calls(page, top_in, calls)
        top_in = _section(page, top_in, "TO SILENCE IT")
        top_in = _lines(page, top_in, _SILENCE)
        top_in = _section(page, top_in, "IN AN ACCIDENT")
        top_in = _lines(page, top_in, _ACCIDENT)
        _emergency(page, top_in, emergency)
        foot = f"{field_name}. Practice equipment, never rescue equipment."
        page.write(page.left_in, page.bottom_in, foot, SMALL_PT + 1, most_in=4.6)
        _blank(page, page.left_in + 4.8, page.bottom_in, "Here until", SMALL_PT + 1, page.right_in)
        return [page.figure]


def _head(page: Page) -> float:
    middle_in = (page.left_in + page.right_in) / 2
    bottom_in = page.top_in - _PICTURE_IN
    draw_buried_sender(page, page.left_in + 0.5, bottom_in, _PICTURE_IN)
    draw_no_digging(page, page.right_in - 0.5 - _PICTURE_IN, bottom_in + 0.1, _PICTURE_IN - 0.2)
    lines = (("TRANSMITTERS ARE BURIED HERE", 0.5, 28.0), ("DO NOT DIG", 0.92, 52.0),
             ("Avalanche practice field, 457 kHz", 0.45, 20.0))  # fmt: skip
    for text, down_in, points in lines:
        bottom_in -= down_in
        page.write(middle_in, bottom_in, text, points, bold=True, most_in=page.width_in,
                   ha="center")  # fmt: skip
    words = "A signal from here comes from practice targets. Leave pegs, flags and cables alone."
    return page.paragraph(page.left_in, bottom_in - 0.14, words, BODY_PT, page.width_in)


def _section(page: Page, top_in: float, title: str) -> float:
    page.line((page.left_in, page.right_in), (top_in - 0.06, top_in - 0.06), lw=2.2)
    page.write(page.left_in, top_in - 0.4, title, HEAD_PT, bold=True)
    return top_in - 0.49


def _lines(page: Page, top_in: float, lines: Sequence[str]) -> float:
    for line in lines:
        top_in = page.paragraph(page.left_in, top_in, line, BODY_PT, page.width_in)
    return top_in


def _calls(page: Page, top_in: float, calls: Sequence[str]) -> float:
    if calls:
        points = BODY_PT + (4 if len(calls) == 1 else 0)
        for call in calls:
            top_in -= 0.32
            page.write(page.left_in, top_in, call, points, bold=True, most_in=page.width_in)
        return top_in - 0.14
    half_in = page.width_in / 2
    for _ in range(2):
        top_in -= 0.38
        for n, word in enumerate(_BLANKS):
            left_in = page.left_in + n * half_in
            _blank(page, left_in, top_in, word, BODY_PT, left_in + half_in - 0.15)
    return top_in - 0.14


def _emergency(page: Page, top_in: float, number: str) -> None:
    words = "Emergency call:"
    if number:
        page.write(page.left_in, top_in - 0.34, f"{words} {number}", HEAD_PT + 3, bold=True,
                   most_in=page.width_in)  # fmt: skip
    else:
        _blank(page, page.left_in, top_in - 0.34, words, HEAD_PT, page.right_in, bold=True)


def _blank(
    page: Page, x_in: float, y_in: float, word: str, points: float, end_in: float,
    *, bold: bool = False,
) -> None:  # fmt: skip
    page.write(x_in, y_in, word, points, bold=bold)
    begin_in = x_in + text_width_in(word, points, bold=bold) + 0.1
    page.blank(begin_in, y_in - 0.03, end_in - begin_in)
