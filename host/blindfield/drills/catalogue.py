"""The kinds of problem that can be drawn."""

from __future__ import annotations

from dataclasses import dataclass

from blindfield.model.errors import ConfigError


@dataclass(frozen=True)
class Drill:
    """`second`: when the second signal begins, "start" or "first_find" (with its else)."""

    kind: str
    title: str
    in_play: int
    second: str = "start"


DRILLS = {
    drill.kind: drill
    for drill in (
        Drill("single", "One target", 1),
        Drill("pair", "Two targets, both sending from the start", 2),
        Drill("staggered", "Two targets, the second signal comes in later", 2, "first_find"),
        Drill("three", "Three targets, all sending from the start", 3),
    )
}


def drill_named(kind: str) -> Drill:
    """The drill of that kind. Raises ConfigError that names the kinds there are."""
    if kind not in DRILLS:
        raise ConfigError(
            f"there is no drill {kind!r}.", remedy=f"Choose from {', '.join(DRILLS)}."
        )
    return DRILLS[kind]
