"""Pictures of one modelled search: the field's flux lines, its path, what the receiver displayed.

matplotlib is loaded when a picture is drawn, never before, and by its object interface alone.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from blindfield.debrief.picture_samples import with_antennas_known
from blindfield.debrief.values import Timeline
from blindfield.debrief.words import CLOSED_TO_VIEW
from blindfield.model.errors import ConfigError, NotReady
from blindfield.model.field import Field
from blindfield.searcher.values import Problem, Trace

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SUFFIXES = (".svg", ".png")

__all__ = ["check_name", "draw_picture", "save", "with_antennas_known"]


def draw_picture(
    problem: Problem,
    trace: Trace,
    *,
    searcher: str,
    yours: Timeline | None = None,
    place: Field | None = None,
) -> Figure:
    """One A4 page: the plan with flux lines of the strongest target, the distances displayed and
    the path by phase; each find from near; the displayed distance over run time.

    `searcher`: who is modelled, in words for the second line. `yours`: a real run of the same
    problem, whose finds stand above the model's; everything else on the page is labelled a model.
    `place`: the field, for the outline of its ground and what is kept out of it.

    Raises NotReady while `yours` is open (it stays blind), and ValueError where `trace` is empty or
    the lie of an antenna is not known: draw it with `with_antennas_known` before the search is
    walked, so that search and picture agree.
    """
    if yours is not None and yours.outcome is None:
        raise NotReady(CLOSED_TO_VIEW)
    if not len(trace.run_s):
        raise ValueError("there is nothing to draw: the search has no rows")
    from blindfield.debrief.picture_figure import build

    return build(problem, trace, searcher=searcher, yours=yours, place=place)


def check_name(path: Path) -> None:
    """Raises ConfigError unless `path` ends in .svg or .png."""
    if path.suffix.lower() not in SUFFIXES:
        raise ConfigError(
            f"a picture cannot be written as {path.name}.",
            remedy=f"Name a file that ends in {' or '.join(SUFFIXES)}.",
        )


def save(figure: Figure, path: Path) -> None:
    """Write `figure` to `path` as .svg or .png by its suffix, whole or not at all.

    The same figure gives the same bytes. In an SVG words stay text. A picture of ours that is there
    is replaced; anything else is not. Raises ConfigError for another suffix, for a file that we did
    not make, and when the file cannot be written.
    """
    check_name(path)
    from blindfield.debrief.picture_file import write

    write(figure, path)
