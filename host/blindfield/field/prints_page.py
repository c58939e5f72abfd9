"""One A4 page in inches from its lower left corner: words that fit, lines, frames, axes."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.lines import Line2D
from matplotlib.patches import FancyArrowPatch, FancyBboxPatch, Patch, Rectangle
from matplotlib.textpath import text_to_path

from blindfield.field.prints_ink import INK, PT_PER_INCH, SMALL_PT, TEXT_PT, TITLE_PT

A4_IN = (8.27, 11.69)
MARGIN_IN = 0.45  # what no printer cuts off
LEAST_PT = 7.0
LINE_SPACING = 1.32
HEADLINE_IN, FOOT_IN = 0.7, 0.45
_HINTED = 1.02
FOOT = (
    "Practice equipment, never rescue equipment. In a real accident: `blindfield silence`, or five "
    "even knocks by hand on any target."
)


class Page:
    """`left_in` to `right_in` and `bottom_in` to `top_in` may be used."""

    def __init__(self, *, landscape: bool = False) -> None:
        self.size_in = (A4_IN[1], A4_IN[0]) if landscape else A4_IN
        self.figure = Figure(figsize=self.size_in, dpi=100, facecolor="white")
        self.left_in, self.bottom_in = MARGIN_IN, MARGIN_IN
        self.right_in = self.size_in[0] - MARGIN_IN
        self.top_in = self.size_in[1] - MARGIN_IN

    @property
    def width_in(self) -> float:
        return self.right_in - self.left_in

    @property
    def height_in(self) -> float:
        return self.top_in - self.bottom_in

    def axes(self, left_in: float, bottom_in: float, width_in: float, height_in: float) -> Axes:
        wide, high = self.size_in
        return self.figure.add_axes(
            (left_in / wide, bottom_in / high, width_in / wide, height_in / high)
        )

    def write(
        self,
        x_in: float,
        y_in: float,
        text: str,
        points: float = TEXT_PT,
        *,
        bold: bool = False,
        most_in: float | None = None,
        least: float = LEAST_PT,
        **style: Any,
    ) -> None:
        """Words with their base line at `y_in`, smaller or cut where `most_in` is too narrow."""
        if most_in is not None:
            text, points = fitted(text, points, most_in, bold=bold, least=least)
        weight = "bold" if bold else "normal"
        style = {"fontsize": points, "fontweight": weight, "va": "baseline", **style}
        self.figure.text(x_in, y_in, text, transform=self.figure.dpi_scale_trans, **style)

    def paragraph(
        self,
        x_in: float,
        top_in: float,
        text: str,
        points: float,
        most_in: float,
        *,
        bold: bool = False,
    ) -> float:
        """Words in as many lines as they need, from `top_in` down; where the next may begin."""
        step_in = points * LINE_SPACING / PT_PER_INCH
        for line in wrapped(text, points, most_in, bold=bold):
            self.write(x_in, top_in - points / PT_PER_INCH, line, points, bold=bold)
            top_in -= step_in
        return top_in

    def line(self, xs_in: tuple[float, float], ys_in: tuple[float, float], **style: Any) -> None:
        style = {"color": INK, "lw": 1.0, **style}
        self.figure.add_artist(Line2D(xs_in, ys_in, transform=self.figure.dpi_scale_trans, **style))

    def arrow(self, begin_in: tuple[float, float], end_in: tuple[float, float]) -> None:
        style = "-|>,head_width=2.2,head_length=4"
        self.add(
            FancyArrowPatch(begin_in, end_in, arrowstyle=style, lw=1.8, fc=INK, ec=INK,
                            shrinkA=0, shrinkB=0)
        )  # fmt: skip

    def blank(self, x_in: float, y_in: float, width_in: float) -> None:
        """A line to write on."""
        self.line((x_in, x_in + width_in), (y_in, y_in), lw=1.0)

    def frame(
        self, left_in: float, bottom_in: float, width_in: float, height_in: float, **style: Any
    ) -> None:
        style = {"fc": "none", "ec": INK, "lw": 1.2, **style}
        self.add(Rectangle((left_in, bottom_in), width_in, height_in, **style))

    def add(self, patch: Patch) -> None:
        """A shape in inches."""
        patch.set_transform(self.figure.dpi_scale_trans)
        self.figure.add_artist(patch)

    def headline(self, title: str, purpose: str, below: str) -> float:
        """The field's name, in a frame whom the page is for, a line below; where to go on."""
        high_in = self.top_in - 0.28
        points, pad_in = 12.0, 0.1
        purpose_in = text_width_in(purpose, points, bold=True)
        box = (self.right_in - purpose_in - pad_in, high_in - 0.02)
        self.add(
            FancyBboxPatch(
                box, purpose_in, 0.22, boxstyle=f"square,pad={pad_in}", fc=INK, ec=INK, lw=1.0
            )
        )
        self.write(self.right_in - pad_in, high_in + 0.03, purpose, points, bold=True,
                   color="white", ha="right")  # fmt: skip
        room_in = self.width_in - purpose_in - 5 * pad_in
        self.write(self.left_in, high_in, title, TITLE_PT + 3, bold=True, most_in=room_in)
        self.write(self.left_in, high_in - 0.3, below, TEXT_PT, most_in=self.width_in)
        return self.top_in - HEADLINE_IN

    def foot(self) -> None:
        """What every page says, at its lower edge, `FOOT_IN` high."""
        top_in = self.bottom_in + FOOT_IN - 0.1
        self.paragraph(self.left_in, top_in, FOOT, SMALL_PT, self.width_in)


@lru_cache(maxsize=4096)
def text_width_in(text: str, points: float, *, bold: bool = False) -> float:
    """How wide words are in our type, at most: a screen or printer may set them a little wider."""
    face = FontProperties(size=points, weight="bold" if bold else "normal")
    width_pt: float = text_to_path.get_text_width_height_descent(text, face, ismath=False)[0]
    return _HINTED * width_pt / PT_PER_INCH


def missing_letters(text: str) -> str:
    """The letters that our type does not have: on paper each is an empty box."""
    face = get_font(findfont(FontProperties()))
    return "".join(letter for letter in text if not face.get_char_index(ord(letter)))


def fitted(
    text: str, points: float, most_in: float, *, bold: bool = False, least: float = LEAST_PT
) -> tuple[str, float]:
    """(words, size): smaller where they are too wide, then cut with a sign that they were."""
    size = points
    while text_width_in(text, size, bold=bold) > most_in and size > least:
        size = max(least, size - 0.5)
    if text_width_in(text, size, bold=bold) <= most_in:
        return text, size
    kept = len(text)
    while kept > 1 and text_width_in(text[:kept] + "…", size, bold=bold) > most_in:
        kept -= 1
    return text[:kept] + "…", size


def wrapped(text: str, points: float, most_in: float, *, bold: bool = False) -> list[str]:
    """Lines no wider than `most_in`; a word that is wider alone is broken."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if text_width_in(longer, points, bold=bold) <= most_in:
            lines[-1] = longer
            continue
        if lines[-1]:
            lines.append("")
        for letter in word:
            if text_width_in(lines[-1] + letter, points, bold=bold) > most_in:
                lines.append("")
            lines[-1] += letter
    return lines
