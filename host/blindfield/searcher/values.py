"""What the modelled searcher is given and what it gives back. Values only.

Axes of a field: x along the width, y along the height, both from the corner peg; z straight up
from the snow surface, so that a target lies at z = -depth_m.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum
from typing import Literal

from blindfield.physics.arrays import Bools, Floats, Ints

Starts = Literal["start", "first_find", "time"]


class Phase(IntEnum):
    """The phases of a search, in the words of the ICAR recommendation of 2008, and what follows."""

    SIGNAL_SEARCH = 0
    COARSE_SEARCH = 1
    FINE_SEARCH = 2
    PINPOINTING = 3
    MARKING = 4
    RETURN = 5  # back to where the signal search was left
    BACKUP = 6  # micro search strips or three circles
    EXCAVATION = 7


@dataclass(frozen=True)
class Source:
    """One target that sends in this problem.

    `azimuth_deg` clockwise from the y axis and `tilt_deg` above the horizontal say how the antenna
    lies; None: nobody knows, each searcher meets another draw. `starts`: with the run; or on the
    first find, then at `else_s` of run time at the latest (None: never without the find); or at
    `else_s` and no sooner. `rests_s`: it rests that long after its own strike (None: it goes on).
    """

    name: str
    x_m: float
    y_m: float
    depth_m: float
    azimuth_deg: float | None = None
    tilt_deg: float | None = None
    period_s: float = 1.0
    on_s: float = 0.082
    phase_s: float = 0.0
    starts: Starts = "start"
    else_s: float | None = None
    rests_s: float | None = None
    moment_a_m2: float | None = None  # None: the nominal moment of a target


@dataclass(frozen=True)
class Problem:
    """What a searcher is sent into. `end_on` "dug_out" adds excavation to every find."""

    width_m: float
    height_m: float
    start_x_m: float
    start_y_m: float
    sources: tuple[Source, ...]
    end_on: Literal["strike", "dug_out"] = "strike"
    time_limit_s: float = 600.0
    marking_allowed: bool = True
    title: str = ""


@dataclass(frozen=True)
class Walks:
    """`count` modelled searches of one problem with k sources. Times in seconds of run time.

    `found_s`, `dug_s`: (count, k), by source, nan where the searcher gave up before; `order`:
    (count, k), the source found first, second ...; -1 after the last find. `phase_s`:
    (count, k, len(Phase)), seconds of each phase on the leg to the first, second ... find, nan on a
    leg that did not end in one; the excavation of a leg is that of its find. `backup`: (count, k),
    whether a backup method was needed on that leg.
    """

    found_s: Floats
    dug_s: Floats
    order: Ints
    phase_s: Floats
    backup: Bools


@dataclass(frozen=True)
class Probe:
    """One stroke of the probe. `source`: the one that it hit, None for none."""

    run_s: float
    x_m: float
    y_m: float
    source: str | None = None
    push: bool = False  # a slow push into the pack, not a sharp hit


@dataclass(frozen=True)
class Trace:
    """One search in detail, a row each time something changes (at most 1 s apart).

    `displayed_m` is nan where the receiver shows nothing; `arrow_deg` is the shown direction of the
    flux line, clockwise from the y axis; `followed`: index of the source followed, -1 for none.
    """

    run_s: Floats
    x_m: Floats
    y_m: Floats
    phase: Ints
    displayed_m: Floats
    arrow_deg: Floats
    followed: Ints
    probes: tuple[Probe, ...] = ()
    found: dict[str, float] = field(default_factory=dict)  # run_s of the strike, by source
    dug_out: dict[str, float] = field(default_factory=dict)
