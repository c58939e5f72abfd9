"""The displayed distance of one modelled search over its time, by phase."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from blindfield.debrief.html_svg import Across, figure, legend, picture, words_at
from blindfield.debrief.html_text import Html, element, joined
from blindfield.debrief.html_values import Modelled
from blindfield.debrief.picture_labels import called
from blindfield.debrief.picture_phases import LOOKS, phases_of, seconds_in, stretches
from blindfield.debrief.values import Timeline, middle
from blindfield.debrief.words import whole_text
from blindfield.searcher.values import Phase, Trace

DISTANCES_M = (1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 40.0, 80.0)
MOST_ROWS = 1500
# A letter for each phase, so that colour is not needed.
LETTERS = {
    Phase.SIGNAL_SEARCH: "S",
    Phase.COARSE_SEARCH: "C",
    Phase.FINE_SEARCH: "F",
    Phase.PINPOINTING: "P",
    Phase.MARKING: "M",
    Phase.RETURN: "R",
    Phase.BACKUP: "B",
    Phase.EXCAVATION: "D",
}
_FINDS, _TOP, _HIGH, _STRIP = 50.0, 60.0, 190.0, 24.0
_LEAST_LETTER, _LEFT = 3.5, 9.0  # percent


def drawn(modelled: Modelled, yours: Timeline) -> Html:
    """The figure: your finds and the model's above, the distance it was shown below."""
    trace = modelled.trace
    ends = [float(trace.run_s[-1]), *(middle(find.run_s) for find in yours.finds)]
    across = Across(max(1.0, *ends) * 1.03, _LEFT)
    low, high = _reach_m(trace)
    bottom = _TOP + _HIGH
    said = f"From {low:.1f} to {high:.0f} metres. {found_text(trace)}"
    parts = [
        *across.scale(_TOP, bottom + _STRIP),
        *_distances(low, high),
        *_finds(across, "yours", 14, [(f.target, middle(f.run_s)) for f in yours.finds], bottom),
        *_finds(across, "model", 38, sorted(trace.found.items(), key=lambda one: one[1]), bottom),
        _line(trace, across, low, high),
        *_strip(trace, across, bottom),
    ]
    title = "Distance that a receiver shows, modelled"
    drawing = picture("trace", title, said, bottom + _STRIP + 22, *parts)
    caption = (
        "Up: metres displayed (the scale is wider near the target). Along: run time, and a letter "
        "for each phase of the modelled search."
    )
    return Html(figure(caption, drawing) + _legend(trace))


def found_text(trace: Trace) -> str:
    found = sorted(trace.found.items(), key=lambda one: one[1])
    told = ", ".join(f"{called(name, 20)} at {whole_text(run_s)}" for name, run_s in found)
    return f"The model found {told or 'nothing'}."


def _reach_m(trace: Trace) -> tuple[float, float]:
    shown = trace.displayed_m[~np.isnan(trace.displayed_m)]
    low, high = (1.0, 40.0) if not shown.size else (float(shown.min()), float(shown.max()))
    return min(1.0, low), max(12.0, high * 1.1)


def _y(distance_m: float, low: float, high: float) -> float:
    return _TOP + _HIGH * (1.0 - math.log(distance_m / low) / math.log(high / low))


def _distances(low: float, high: float) -> Iterator[Html]:
    for distance_m in DISTANCES_M:
        if low <= distance_m <= high:
            y = _y(distance_m, low, high)
            yield element("line", x1="0%", x2="100%", y1=y, y2=y, class_="grid")
            yield words_at(2, y - 4, f"{distance_m:g} m", class_="small")


def _finds(
    across: Across, who: str, y: float, finds: Sequence[tuple[str, float]], bottom: float
) -> Iterator[Html]:
    yield words_at(0, y + 5, who if finds else f"{who}: no find", class_="name")
    for _, run_s in finds:
        yield across.upright(run_s, y + 6, bottom, f"find {who}")
        yield across.sign("struck" if who == "yours" else "called", run_s, y)


def _line(trace: Trace, across: Across, low: float, high: float) -> Html:
    """In a box of its own that is stretched, so that the curve fits any width."""
    step = max(1, len(trace.run_s) // MOST_ROWS)
    pieces: list[list[str]] = [[]]
    for run_s, shown_m in zip(trace.run_s[::step], trace.displayed_m[::step], strict=True):
        if math.isnan(shown_m):
            pieces.append([])
            continue
        x, y = 10 * across.percent(float(run_s)), _y(float(shown_m), low, high) - _TOP
        pieces[-1].append(f"{x:.1f} {y:.1f}")
    path = "".join(f"M{'L'.join(piece)}" for piece in pieces if len(piece) > 1)
    return element(
        "svg",
        element("path", d=path, class_="halo"),
        element("path", d=path, class_="shown"),
        x=0,
        y=_TOP,
        width="100%",
        height=_HIGH,
        viewBox=f"0 0 1000 {_HIGH:g}",
        preserveAspectRatio="none",
    )


def _strip(trace: Trace, across: Across, top: float) -> Iterator[Html]:
    last = len(trace.run_s) - 1
    for stretch in stretches(trace):
        from_s = float(trace.run_s[stretch.first])
        to_s = float(trace.run_s[min(stretch.last + 1, last)])
        yield across.box(from_s, to_s, top, _STRIP, f"phase p{int(stretch.phase)}")
        if across.percent(to_s) - across.percent(from_s) >= _LEAST_LETTER:
            middle_s = (from_s + to_s) / 2
            letter = LETTERS[stretch.phase]
            yield words_at(across.at(middle_s), top + 17, letter, "middle", "letter")


def _legend(trace: Trace) -> Html:
    rows = []
    for phase in phases_of(trace):
        box = element("rect", x=-10, y=-10, width=20, height=20, class_=f"phase p{int(phase)}")
        letter = words_at(0, 5.5, LETTERS[phase], "middle", "letter")
        drawing = element(
            "svg", box, letter, class_="key", viewBox="-10 -10 20 20", aria_hidden="true"
        )
        rows.append((drawing, f"{LOOKS[phase].words} {whole_text(seconds_in(trace, phase))}"))
    return joined([legend(rows)])
