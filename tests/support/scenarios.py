"""A small invented field and scenarios on it."""

from __future__ import annotations

from pathlib import Path

from blindfield.drills.catalogue import drill_named
from blindfield.drills.draw import draw
from blindfield.model.field import Field, StartPoint, Target
from blindfield.model.scenario import EndOn, Scenario


def small_field(
    targets: int = 6, *, folder: Path = Path("."), lease_s: float | None = None
) -> Field:
    return Field(
        name="Larch Hollow",
        folder=folder,
        media=("sim:",),
        key_path=folder / "field.key",
        logbook_path=folder / "logbook.sqlite",
        targets=tuple(
            Target(str(n), bytes([7] * 7 + [n]), 6.0 * n, 40.0 - 5 * n, 0.6 + 0.05 * n)
            for n in range(1, targets + 1)
        ),
        start_points=(StartPoint("south flag", 25.0, 0.0), StartPoint("west flag", 0.0, 25.0)),
        lease_s=lease_s,
    )


def drawn(
    kind: str = "staggered", *, seed: int = 5, limit_s: float = 600.0, end_on: EndOn = "strike"
) -> Scenario:
    return draw(small_field(), drill_named(kind), seed=seed, time_limit_s=limit_s, end_on=end_on)
