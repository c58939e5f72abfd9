"""The sweat: minutes to bury a target at a depth, for so many people, and how many targets fit.

For practice holes in settled snow. No measured source was found: every figure is common practice,
and `ASSUMPTIONS` tells people so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from blindfield.model.errors import ConfigError
from blindfield.physics.arrays import Floats

LEAST_DEPTH_M, DEEPEST_M, DEPTH_STEP_M = 0.4, 2.0, 0.1
DEEP_M = 0.8  # deeper counts as deep: common practice, no source
PEOPLE_RANGE, MINUTES_RANGE = (1, 20), (1.0, 720.0)
_SETUP_MIN = 10.0  # pegs, both diagonals, flags
_STAKE_MIN = 3.0  # a target: walk, tape, card, switch on
_HOLE_WIDTH_M, _HOLE_LENGTH_M = 0.8, 0.9
_SLOPE = 0.25  # the hole grows longer by half its depth, and a wedge is half of that
_DIG_M3_MIN = 0.15  # one person at an all-day pace
_FILL_SHARE = 0.4  # of the time to dig
_SHARED = 0.8  # n people do the work of n^0.8
_SOURCE = "common practice, no source"

ASSUMPTIONS = (
    f"hole {_HOLE_WIDTH_M:g} m wide, {_HOLE_LENGTH_M:g} m long and longer by half its depth",
    f"{_DIG_M3_MIN:g} m3 a minute for one, n people work as n^{_SHARED:g}",
    f"filling in {_FILL_SHARE:.0%} of the digging",
    f"{_STAKE_MIN:g} min a target to tape, card and switch on, {_SETUP_MIN:g} min to peg the field",
    f"(all {_SOURCE})",
)


@dataclass(frozen=True)
class Sweat:
    """Who digs and how long. `minutes` None: as long as it takes. Raises ConfigError."""

    people: int = 2
    minutes: float | None = None

    def __post_init__(self) -> None:
        least, most = PEOPLE_RANGE
        if not least <= self.people <= most:
            raise ConfigError(f"{self.people} people cannot dig.", remedy=f"Say {least} to {most}.")
        if self.minutes is None:
            return
        low, high = MINUTES_RANGE
        if not (math.isfinite(self.minutes) and low <= self.minutes <= high):
            raise ConfigError(
                f"{self.minutes:g} minutes is no time to dig in.",
                remedy=f"Say {low:g} to {high:g}, or leave it out.",
            )

    def target_minutes(self, depth_m: Floats) -> Floats:
        """Minutes (...) to tape, dig, place and fill in one target at `depth_m` (...)."""
        hands = float(self.people) ** _SHARED
        dug_m3 = _HOLE_WIDTH_M * depth_m * (_HOLE_LENGTH_M + _SLOPE * depth_m)
        return np.asarray(_STAKE_MIN + dug_m3 / _DIG_M3_MIN * (1.0 + _FILL_SHARE) / hands)

    def total_minutes(self, depth_m: Floats) -> Floats:
        """Minutes (...) for the targets at `depth_m` (..., n) and pegging the field."""
        return np.asarray(_SETUP_MIN + self.target_minutes(depth_m).sum(axis=-1))

    def fits(self) -> int | None:
        """How many targets can be buried at the least depth; None without a limit."""
        if self.minutes is None:
            return None
        each = float(self.target_minutes(np.array(LEAST_DEPTH_M)))
        return max(0, int((self.minutes - _SETUP_MIN) / each + 1e-9))

    def check(self, count: int) -> None:
        """Raises ConfigError, with how many fit, when `count` targets are more than that."""
        fits = self.fits()
        if fits is not None and count > fits:
            who = "one person" if self.people == 1 else f"{self.people} people"
            needed = float(self.total_minutes(np.full(count, LEAST_DEPTH_M)))
            remedy = f"Bury {fits}" if fits else "Give more time"
            raise ConfigError(
                f"{count} targets are more than {who} can bury in {self.minutes:g} min: "
                f"{fits} fit, {count} need {math.ceil(needed)} min even at {LEAST_DEPTH_M:g} m.",
                remedy=f"{remedy}, or find more people or minutes.",
            )


@dataclass(frozen=True)
class Depths:
    """The depths a plan may use. `snow_m`: snow on the ground; `deep`: how many targets may lie
    deeper than 0.8 m (None: as the plan likes); `deepest_m` None: 1 m, or what the snow allows.
    Raises ConfigError when the snow or the limit forbids it."""

    snow_m: float = 1.5
    deep: int | None = None
    deepest_m: float | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.snow_m) and 0 < self.snow_m <= 20.0):
            raise ConfigError(f"{self.snow_m:g} m is no snow depth.", remedy="Say it in metres.")
        if self.snow_m <= LEAST_DEPTH_M:
            raise ConfigError(
                f"{self.snow_m:g} m of snow is too little: a target lies at least "
                f"{LEAST_DEPTH_M:g} m deep, and needs more snow than that.",
                remedy="Find a drift, or wait for snow.",
            )
        if self.deepest_m is not None:
            self._check_deepest(self.deepest_m)
        if self.deep is not None and self.deep < 0:
            raise ConfigError("fewer than no deep targets.", remedy="Say --deep 0 or more.")
        if self.deep and self.limit_m <= DEEP_M:
            raise ConfigError(
                f"no target can lie deep (over {DEEP_M:g} m): the limit here is "
                f"{self.limit_m:g} m in {self.snow_m:g} m of snow.",
                remedy="Say --deep 0, or find deeper snow.",
            )

    def _check_deepest(self, deepest_m: float) -> None:
        if not LEAST_DEPTH_M <= deepest_m <= DEEPEST_M:
            raise ConfigError(
                f"a depth of {deepest_m:g} m is beyond the limit.",
                remedy=f"Say {LEAST_DEPTH_M:g} to {DEEPEST_M:g} m: deeper holes are not for "
                "practice.",
            )
        if deepest_m >= self.snow_m:
            raise ConfigError(
                f"{deepest_m:g} m deep needs more than {deepest_m:g} m of snow; you have "
                f"{self.snow_m:g} m.",
                remedy="Ask for less depth, or find deeper snow.",
            )

    @property
    def limit_m(self) -> float:
        """The deepest step that is asked for and that the snow covers."""
        asked_m = 1.0 if self.deepest_m is None else self.deepest_m
        steps = math.ceil(round(self.snow_m / DEPTH_STEP_M, 6)) - 1  # less than the snow
        return min(asked_m, round(steps * DEPTH_STEP_M, 6))

    @property
    def steps_m(self) -> tuple[float, ...]:
        """Every depth in use, least first."""
        count = round((self.limit_m - LEAST_DEPTH_M) / DEPTH_STEP_M + 0.49)
        steps = [round(LEAST_DEPTH_M + DEPTH_STEP_M * k, 6) for k in range(count + 1)]
        return tuple(sorted({step for step in steps if step < self.limit_m} | {self.limit_m}))

    def deep_of(self, count: int) -> int:
        """How many of `count` targets may lie deep: what was said, or about two in five."""
        if self.limit_m <= DEEP_M:
            return 0
        return min(count, (2 * count + 4) // 5 if self.deep is None else self.deep)
