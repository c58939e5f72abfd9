"""How each phase looks in a picture: colour, line and hatch, so that one of them is enough."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from blindfield.searcher.values import Phase, Trace

Dashes = tuple[float, tuple[float, ...]]
SOLID: Dashes = (0.0, ())


@dataclass(frozen=True)
class Look:
    """`dashes` as matplotlib takes them, in line widths; `tint` fills where the phase lasted."""

    words: str
    colour: str
    dashes: Dashes
    width_pt: float
    tint: str
    hatch: str = ""


# Hues of the Okabe-Ito set for colour-blind readers (from memory), darkened until each can be read
# on white; the dashes tell them apart in grey. Who stands still draws no line: a hatch instead.
LOOKS: dict[Phase, Look] = {
    Phase.SIGNAL_SEARCH: Look("signal search", "#0072b2", (0.0, (3.2, 1.2)), 2.4, "#d6e8f3"),
    Phase.COARSE_SEARCH: Look("coarse search", "#c24a00", SOLID, 3.2, "#fbe3d2"),
    Phase.FINE_SEARCH: Look("fine search", "#000000", (0.0, (1.0, 0.7)), 2.6, "#e2e2e2"),
    Phase.PINPOINTING: Look("pinpointing", "#a3407d", SOLID, 1.6, "#f3dcea", "////"),
    Phase.MARKING: Look("marking", "#6b6b00", SOLID, 1.6, "#f7f3b8", "----"),
    Phase.RETURN: Look("return", "#00765a", (0.0, (3.2, 1.0, 0.8, 1.0)), 2.4, "#d2eee5"),
    Phase.BACKUP: Look("backup", "#4b3fb0", (0.0, (1.6, 0.8, 0.5, 0.8, 0.5, 0.8)), 2.4, "#dfdcf6"),
    Phase.EXCAVATION: Look("digging", "#6b4a2b", SOLID, 1.6, "#eadfd4", "xxxx"),
}


@dataclass(frozen=True)
class Stretch:
    """Rows `first` to `last` of a trace, both included, in one phase."""

    phase: Phase
    first: int
    last: int

    @property
    def rows(self) -> slice:
        """Its rows and the first of the next stretch, so that lines join."""
        return slice(self.first, self.last + 2)


def stretches(trace: Trace) -> list[Stretch]:
    """The phases in the order in which they happened."""
    changes = np.flatnonzero(np.diff(trace.phase)) + 1
    edges = [0, *changes.tolist(), len(trace.phase)]
    return [
        Stretch(Phase(int(trace.phase[first])), first, end - 1)
        for first, end in pairwise(edges)
        if end > first
    ]


def phases_of(trace: Trace) -> list[Phase]:
    """The phases that occur, in the order of a search."""
    present = {int(phase) for phase in np.unique(trace.phase)}
    return [phase for phase in Phase if phase in present]


def left_at(trace: Trace) -> Iterator[tuple[float, float]]:
    """Where the signal search was left: (x_m, y_m) of each first row of what followed."""
    for before, after in pairwise(stretches(trace)):
        if before.phase is Phase.SIGNAL_SEARCH and after.phase is not Phase.SIGNAL_SEARCH:
            yield float(trace.x_m[after.first]), float(trace.y_m[after.first])


def seconds_in(trace: Trace, phase: Phase) -> float:
    """How long the phase lasted altogether."""
    last = len(trace.run_s) - 1
    return sum(
        float(trace.run_s[min(one.last + 1, last)] - trace.run_s[one.first])
        for one in stretches(trace)
        if one.phase is phase
    )
