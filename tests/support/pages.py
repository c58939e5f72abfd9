"""Looks at printed pages as a reader would: nothing cut off, no words over others."""

from __future__ import annotations

from itertools import combinations

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox

DPI = 150
EDGE_IN = 0.2  # what a printer may cut off
TOUCH_IN = 0.03  # type stands a little larger than its ink


def words_on(figure: Figure) -> list[tuple[str, Bbox]]:
    """Every text that is shown, with its box in inches."""
    canvas = FigureCanvasAgg(figure)
    figure.set_dpi(DPI)
    figure.draw_without_rendering()
    renderer = canvas.get_renderer()
    found = []
    for one in figure.findobj(Text):
        assert isinstance(one, Text)
        if one.get_text().strip() and one.get_visible():
            box = Text.get_window_extent(one, renderer)
            found.append((one.get_text(), Bbox(box.get_points() / DPI)))
    return found


def signs_on(figure: Figure) -> list[tuple[float, float]]:
    """The middle of every mark on a map, in inches."""
    found = []
    for axes in figure.axes:
        for line in axes.get_lines():
            if line.get_marker() not in ("", "None", None):
                found += [tuple(xy / DPI) for xy in axes.transData.transform(line.get_xydata())]
    return found


def faults_of(figure: Figure) -> list[str]:
    """One line for each text that is cut off or stands over another or over a sign of the map."""
    wide, high = figure.get_size_inches()
    words = words_on(figure)
    found = [
        f"cut off: {text!r}"
        for text, box in words
        if box.x0 < EDGE_IN
        or box.y0 < EDGE_IN
        or box.x1 > wide - EDGE_IN
        or box.y1 > high - EDGE_IN
    ]
    for (text, box), (other, its_box) in combinations(words, 2):
        shared = Bbox.intersection(box, its_box)
        if shared is not None and min(shared.width, shared.height) > TOUCH_IN:
            found.append(f"over each other: {text!r} and {other!r}")
    for x_in, y_in in signs_on(figure):
        found += [f"over a sign: {text!r}" for text, box in words if box.contains(x_in, y_in)]
    return found
