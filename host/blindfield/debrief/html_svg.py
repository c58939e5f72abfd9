"""Pictures for a page that may be narrow or wide: places along it in percent, words in pixels."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from blindfield.debrief.html_text import Attribute, Html, element
from blindfield.debrief.words import whole_text
from blindfield.model.span import Span

STEPS_S = (5, 10, 15, 30, 60, 120, 300, 600)
MOST_MARKS = 6  # of the scale, on the narrowest page
WORTH_DRAWING = 0.6  # percent: what is known better than this is a point

# Drawn about (0, 0), 12 to 14 px large.
SIGNS = {
    "struck": "M-7 -8H7L0 6Z",
    "called": "M-7 -8H7L0 6ZM-3 -5.5L0 0.5L3 -5.5Z",
    "stray": "M-6 -6L6 6M6 -6L-6 6",
    "dug": "M0 8V-7M-6 -1L0 -8L6 -1",
    "planned": "M0 -7L7 0L0 7L-7 0Z",
    "right": "M-6 0L-2 5L7 -6",
    "missed": "M-6 -6L6 6M6 -6L-6 6",
    "found": "M0 -8A8 8 0 1 1 -0.01 -8Z",
}


def picture(name: str, title: str, said: str, height: float, *content: str) -> Html:
    """`said` tells in words what is drawn."""
    heads = (element("title", title, id=f"{name}-name"), element("desc", said, id=f"{name}-said"))
    return element(
        "svg",
        *heads,
        *content,
        class_="flow",
        width="100%",
        height=height,
        role="img",
        aria_labelledby=f"{name}-name",
        aria_describedby=f"{name}-said",
    )


def figure(caption: str, *content: str) -> Html:
    return element("figure", *content, element("figcaption", caption))


def sign(kind: str, class_: str = "") -> Html:
    """A sign of a legend, beside its words."""
    path = element("path", d=SIGNS[kind], class_=f"sign {kind} {class_}".strip())
    return element("svg", path, class_="key", viewBox="-10 -10 20 20", aria_hidden="true")


def legend(rows: Sequence[tuple[Html, str]]) -> Html:
    return element(
        "ul",
        *(element("li", drawn, " ", words) for drawn, words in rows),
        class_="legend",
    )


@dataclass(frozen=True)
class Across:
    """Run time across the picture: `length_s` on the right, 0 s on the left or, where words need
    room there, as many percent from it."""

    length_s: float
    left_percent: float = 0.0

    def percent(self, run_s: float) -> float:
        share = min(max(run_s / self.length_s, 0.0), 1.0)
        return self.left_percent + (100.0 - self.left_percent) * share

    def at(self, run_s: float) -> str:
        return f"{self.percent(run_s):.2f}%"

    def wide(self, from_s: float, to_s: float) -> str:
        return f"{max(0.0, self.percent(to_s) - self.percent(from_s)):.2f}%"

    def line(self, from_s: float, to_s: float, y: float, class_: str) -> Html:
        return element("line", x1=self.at(from_s), x2=self.at(to_s), y1=y, y2=y, class_=class_)

    def upright(self, run_s: float, top: float, bottom: float, class_: str) -> Html:
        x = self.at(run_s)
        return element("line", x1=x, x2=x, y1=top, y2=bottom, class_=class_)

    def box(self, from_s: float, to_s: float, top: float, height: float, class_: str) -> Html:
        x, wide = self.at(from_s), self.wide(from_s, to_s)
        return element("rect", x=x, width=wide, y=top, height=height, class_=class_)

    def sign(self, kind: str, run_s: float, y: float, class_: str = "") -> Html:
        path = element("path", d=SIGNS[kind], class_=f"sign {kind} {class_}".strip())
        return element("svg", path, x=self.at(run_s), y=y, class_="at")

    def reach(self, span: Span, y: float) -> Html:
        """From the earliest to the latest, where that is worth a line."""
        if self.percent(span.high) - self.percent(span.low) < WORTH_DRAWING:
            return Html("")
        ends = [self.upright(run_s, y - 5, y + 5, "reach") for run_s in (span.low, span.high)]
        return Html(self.line(span.low, span.high, y, "reach") + "".join(ends))

    def scale(self, top: float, bottom: float) -> Iterator[Html]:
        """Lines at round times, and the times below them."""
        step_s = next((s for s in STEPS_S if self.length_s / s <= MOST_MARKS), 1200)
        for run_s in range(0, int(self.length_s) + 1, step_s):
            yield self.upright(run_s, top, bottom, "grid")
            anchor = "start" if self.percent(run_s) < 4 else "middle"
            yield words_at(self.at(run_s), bottom + 16, whole_text(run_s), anchor)


def words_at(
    x: str | float, y: float, text: str, anchor: str = "start", class_: Attribute = None
) -> Html:
    return element("text", text, x=x, y=y, text_anchor=anchor, class_=class_)
