"""A kind of problem, and an aid for beginners: values only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from blindfield.model.scenario import Until, Work

Distance = Literal["any", "within range", "out of range", "close"]
Second = Literal["start", "first find", "word"]
Rhythm = Literal["own", "together"]
Effect = Literal["struck rests", "pulses apart"]
Shares = tuple[float, float]
"""Of the time limit: the least and the most of a moment or a length that is drawn."""

DISTANCES: tuple[Distance, ...] = get_args(Distance)
SECONDS: tuple[Second, ...] = get_args(Second)
RHYTHMS: tuple[Rhythm, ...] = get_args(Rhythm)
EFFECTS: tuple[Effect, ...] = get_args(Effect)


@dataclass(frozen=True)
class Drill:
    """Fields as the head of `catalogue.toml` explains them; `targets` are the numbers that send."""

    kind: str
    title: str
    work: tuple[Work, ...]
    targets: tuple[int, ...]
    purpose: str = ""
    watch: str = ""
    geometry: str = ""
    timing: str = ""
    cautions: str = ""
    told: bool = True
    distance: Distance = "any"
    close_m: float = 0.0
    deeper_than_m: float | None = None
    first_at_share: Shares | None = None
    second: Second = "start"
    second_at_share: Shares | None = None
    out_at_share: Shares | None = None
    out_for_share: Shares | None = None
    pulses: Rhythm = "own"
    marking: bool = True
    until: Until = "found"
    briefing: str = ""
    after: tuple[str, ...] = ()
    drawn: bool = True

    @property
    def needs_word(self) -> bool:
        """Whether a target waits for something that happens elsewhere."""
        return self.second != "start"


@dataclass(frozen=True)
class Aid:
    """Something that makes a problem easier than the real thing."""

    name: str
    title: str
    purpose: str
    effect: Effect
