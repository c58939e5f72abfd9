"""One find from near: bracketing, probe strokes, the strike."""

from __future__ import annotations

from matplotlib.axes import Axes

from blindfield.debrief.picture_ink import PROBE, STRUCK
from blindfield.debrief.picture_labels import called
from blindfield.debrief.picture_plan import draw_contours, draw_path, sheet_on
from blindfield.debrief.words import whole_text
from blindfield.field.prints_ink import BOLD_WIDTH, GREY, PT_PER_INCH, TARGET, TEXT_PT
from blindfield.model.area import Area
from blindfield.searcher.values import Problem, Source, Trace

HALF_HEIGHT_M = 1.8
LEVELS_M = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0)
COLUMNS = 61
_LEAST_NAME = 4


def draw_closeup(
    axes: Axes, problem: Problem, trace: Trace, source: Source, size_in: tuple[float, float]
) -> None:
    """`size_in`: width and height of the axes in inches."""
    half_width_m = HALF_HEIGHT_M * size_in[0] / size_in[1]
    area = Area(
        source.x_m - half_width_m,
        source.y_m - HALF_HEIGHT_M,
        source.x_m + half_width_m,
        source.y_m + HALF_HEIGHT_M,
    )
    sheet = sheet_on(axes, area, 2 * HALF_HEIGHT_M / size_in[1])
    axes.set_xticks(
        [source.x_m + step for step in range(-int(half_width_m), int(half_width_m) + 1)]
    )
    axes.set_yticks(
        [source.y_m + step for step in range(-int(HALF_HEIGHT_M), int(HALF_HEIGHT_M) + 1)]
    )
    axes.tick_params(length=0, labelbottom=False, labelleft=False)
    draw_path(sheet, trace, scale=0.8)
    axes.plot(source.x_m, source.y_m, **{**TARGET, "ms": 18, "mfc": "none", "mec": GREY})
    sheet.places.avoid(trace.x_m, trace.y_m)
    sheet.places.take(source.x_m, source.y_m, 0.5, 0.5)
    for probe in trace.probes:
        axes.plot(probe.x_m, probe.y_m, **(PROBE if probe.source is None else STRUCK))
        sheet.places.take(probe.x_m, probe.y_m, 0.2, 0.2)
    draw_contours(sheet, problem.sources, LEVELS_M, COLUMNS)
    axes.set_title(_title(trace, source, size_in[0]), fontsize=TEXT_PT, fontweight="bold", pad=4)


def _title(trace: Trace, source: Source, width_in: float) -> str:
    moment = f", model {whole_text(trace.found[source.name])}"
    room = int(width_in * PT_PER_INCH / (BOLD_WIDTH * TEXT_PT)) - len(moment)
    return f"{called(source.name, max(room, _LEAST_NAME))}{moment}"
