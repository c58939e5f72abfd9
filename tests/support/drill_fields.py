"""A field on which every kind of problem can be set, and runs that were made on it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from blindfield.drills.catalogue import DRILLS
from blindfield.drills.drill import Drill
from blindfield.drills.feasible import Ground, ground_of
from blindfield.drills.history import NO_HISTORY, History, history_of
from blindfield.drills.outlook import Outlook
from blindfield.logbook.past import PastRun
from blindfield.model.field import Field, StartPoint, Target
from blindfield.model.run_summary import Outcome
from blindfield.model.scenario import Work
from support.scenarios import small_field

# x, y, depth: 1 and 2 are a close pair, 1 and 8 lie further apart than 40 m, 4 lies deep
PLACES = (
    (6.0, 6.0, 0.7),
    (11.0, 8.0, 0.9),
    (30.0, 12.0, 0.6),
    (18.0, 30.0, 1.0),
    (40.0, 30.0, 0.8),
    (8.0, 44.0, 0.5),
    (28.0, 46.0, 0.9),
    (46.0, 44.0, 0.7),
)


def wide_field(folder: Path = Path("."), targets: int = len(PLACES)) -> Field:
    place = small_field(0, folder=folder)
    return replace(
        place,
        targets=tuple(
            Target(str(number), bytes([7] * 7 + [number]), x_m, y_m, depth_m)
            for number, (x_m, y_m, depth_m) in enumerate(PLACES[:targets], 1)
        ),
        start_points=(
            StartPoint("south flag", 25.0, 0.0),
            StartPoint("west flag", 0.0, 25.0),
            StartPoint("north flag", 25.0, 50.0),
            StartPoint("east flag", 50.0, 25.0),
        ),
    )


def wide_ground(**more: object) -> Ground:
    return replace(ground_of(wide_field()), **more)  # type: ignore[arg-type]


def past(
    kind: str,
    outcome: Outcome = "met",
    *sent: str,
    start: str = "south flag",
    knows: bool = False,
    field: str = "Larch Hollow",
    work: Work = "search only",
) -> PastRun:
    return PastRun(kind, work, field, start, frozenset(sent or "1"), outcome, knows)


def history(*latest_first: PastRun, knows: bool = False) -> History:
    return history_of(latest_first, field_name="Larch Hollow", knows_places=knows)


def outlook(
    known: History = NO_HISTORY,
    *,
    ground: Ground | None = None,
    drills: tuple[Drill, ...] = tuple(DRILLS.values()),
    work: Work = "search only",
    knows: bool = False,
) -> Outlook:
    return Outlook(ground or wide_ground(), drills, known, work, knows)


ALL_MET = history(*(past(kind, "met", "3") for kind in DRILLS))
"""Every kind was tried and met once, so that none waits for another."""
