"""Who searches: every speed, error and habit of the modelled searcher, with unit and source.

Three profiles: new (has practised once or twice), practised (a season of practice), expert (an
instructor). No measured distribution of such people was at hand: nearly every figure is common
practice without a source, to be refitted to the logbook's own runs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Literal

from blindfield.model.errors import ConfigError

Backup = Literal["micro_strips", "three_circles"]


@dataclass(frozen=True, kw_only=True)
class Profile:
    """One kind of searcher. Raises ConfigError naming the value that no searcher can have.

    Speeds are the middle of a spread that `speed_spread` gives; the receiver's range is drawn for
    each searcher. Unless a line says otherwise: common practice, no source.
    """

    name: str
    # The receiver: common practice, no source, where the line does not say else
    coaxial_range_m: float  # mean of the maximum coaxial range
    coaxial_range_sigma_m: float  # its spread over receivers and hands
    pulse_resolution_s: float  # two pulses nearer than this are one to the receiver; from memory
    separation_window_s: float  # how long the receiver listens to tell signals apart; from memory
    # Walking: common practice, no source
    speed_spread: float  # standard deviation of the logarithm of a person's speed
    signal_speed_m_s: float
    coarse_speed_m_s: float
    return_speed_m_s: float
    backup_speed_m_s: float
    strip_width_m: float  # as taught: 40 m and 20 m, both seen in primary sources
    reaction_s: float  # from a signal heard, or a turn needed, to acting on it
    # Coarse search: common practice, no source
    heading_error_deg: float  # standard deviation of the walked heading about the arrow
    slow_from_m: float  # displayed distance from which the searcher slows down
    # Fine search: common practice, no source
    fine_speed_m_s: float
    bracket_spacing_m: float  # between two readings along a crossing
    bracket_crossings: int
    bracket_overshoot: float  # walked past the minimum, as a share of the smallest display
    reading_error: float  # standard deviation of a reading, share: height over the snow
    decision_s: float  # at the end of each crossing
    # Pinpointing: common practice, no source, but for the step
    assembly_s: float  # getting the probe out, once
    probe_step_m: float  # 25 cm steps of a spiral, as quoted in teaching material
    stroke_s: float  # one stroke, apart from its depth
    stroke_s_per_m: float  # and for each metre of depth
    miss_rate: float  # strokes that land on the pack and are not noticed
    push_chance: float  # hits that are a slow push, not a sharp knock
    # After the find: common practice, no source
    marking_s: float
    backup: Backup
    dig_rate_m3_s: float  # snow moved by one shoveller
    shovellers: int = 1

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, str):
                continue
            if not math.isfinite(value) or value < 0:
                _refuse(self, field.name, "is not a number of zero or more")
            if value == 0 and field.name not in _MAY_BE_ZERO:
                _refuse(self, field.name, "must be above zero")
            if field.name in _COUNTS and value != int(value):
                _refuse(self, field.name, "is not a whole number")
        if self.miss_rate >= 1:
            _refuse(self, "miss_rate", "must be below 1: no stroke would ever be felt")
        for name, least in _LEAST.items():
            if getattr(self, name) < least:
                _refuse(self, name, f"must not be below {least:g}")
        for name, most in _MOST.items():
            if getattr(self, name) > most:
                _refuse(self, name, f"must not be above {most:g}")
        if self.backup not in ("micro_strips", "three_circles"):
            _refuse(self, "backup", "is neither micro_strips nor three_circles")


_COUNTS = frozenset({"bracket_crossings", "shovellers"})
_MAY_BE_ZERO = frozenset(
    {
        *("coaxial_range_sigma_m", "speed_spread", "reaction_s", "heading_error_deg"),
        *("reading_error", "decision_s", "assembly_s", "stroke_s_per_m", "miss_rate"),
        *("push_chance", "marking_s", "pulse_resolution_s"),
    }
)
# Below these the model would walk or probe without an end: ours.
_LEAST = {"strip_width_m": 1.0, "slow_from_m": 3.0, "bracket_spacing_m": 0.05, "probe_step_m": 0.05}
# What no person and no receiver does: ours. Running on snow, an error that points backwards ...
_MOST = {
    "coaxial_range_m": 104.0,  # beyond lambda / 2 pi the near-field formulas end
    "signal_speed_m_s": 5.0,
    "coarse_speed_m_s": 5.0,
    "return_speed_m_s": 5.0,
    "backup_speed_m_s": 5.0,
    "fine_speed_m_s": 5.0,
    "speed_spread": 1.0,
    "heading_error_deg": 60.0,
    "bracket_spacing_m": 2.0,
    "bracket_crossings": 12,
    "bracket_overshoot": 2.0,
    "reading_error": 0.5,
    "probe_step_m": 2.0,
    "push_chance": 1.0,
    "shovellers": 20,
}


def _refuse(profile: Profile, name: str, why: str) -> None:
    raise ConfigError(
        f"the profile {profile.name!r} cannot be: {name} = {getattr(profile, name)} {why}.",
        remedy=f"Set {name} to something a searcher can do.",
    )


NEW = Profile(
    name="new",
    coaxial_range_m=35.0,  # the receiver is as good, its handling is not
    coaxial_range_sigma_m=5.0,
    pulse_resolution_s=0.010,
    separation_window_s=3.0,
    speed_spread=0.15,
    signal_speed_m_s=1.0,
    coarse_speed_m_s=0.8,
    return_speed_m_s=0.9,
    backup_speed_m_s=0.35,
    strip_width_m=20.0,
    reaction_s=4.0,
    heading_error_deg=20.0,
    slow_from_m=15.0,
    fine_speed_m_s=0.2,
    bracket_spacing_m=0.4,
    bracket_crossings=4,
    bracket_overshoot=0.7,
    reading_error=0.05,
    decision_s=4.0,
    assembly_s=25.0,
    probe_step_m=0.30,
    stroke_s=2.5,
    stroke_s_per_m=1.5,
    miss_rate=0.15,
    push_chance=0.35,
    marking_s=12.0,
    backup="micro_strips",
    dig_rate_m3_s=0.0035,
)
PRACTISED = Profile(
    name="practised",
    coaxial_range_m=40.0,  # 40 and 4: the worked example of the strip width formula, ISSW 2009
    coaxial_range_sigma_m=4.0,
    pulse_resolution_s=0.010,
    separation_window_s=3.0,
    speed_spread=0.12,
    signal_speed_m_s=1.4,
    coarse_speed_m_s=1.2,
    return_speed_m_s=1.2,
    backup_speed_m_s=0.5,
    strip_width_m=40.0,
    reaction_s=2.5,
    heading_error_deg=12.0,
    slow_from_m=12.0,
    fine_speed_m_s=0.25,
    bracket_spacing_m=0.25,
    bracket_crossings=3,
    bracket_overshoot=0.5,
    reading_error=0.03,
    decision_s=3.0,
    assembly_s=15.0,
    probe_step_m=0.25,
    stroke_s=1.8,
    stroke_s_per_m=1.0,
    miss_rate=0.07,
    push_chance=0.25,
    marking_s=6.0,
    backup="three_circles",
    dig_rate_m3_s=0.0050,
)
EXPERT = Profile(
    name="expert",
    coaxial_range_m=40.0,
    coaxial_range_sigma_m=4.0,
    pulse_resolution_s=0.010,
    separation_window_s=3.0,
    speed_spread=0.08,
    signal_speed_m_s=1.8,
    coarse_speed_m_s=1.6,
    return_speed_m_s=1.6,
    backup_speed_m_s=0.7,
    strip_width_m=40.0,
    reaction_s=1.5,
    heading_error_deg=7.0,
    slow_from_m=10.0,
    fine_speed_m_s=0.4,
    bracket_spacing_m=0.2,
    bracket_crossings=3,
    bracket_overshoot=0.35,
    reading_error=0.02,
    decision_s=1.5,
    assembly_s=10.0,
    probe_step_m=0.25,
    stroke_s=1.2,
    stroke_s_per_m=0.7,
    miss_rate=0.03,
    push_chance=0.15,
    marking_s=4.0,
    backup="three_circles",
    dig_rate_m3_s=0.0070,
)
PROFILES = {profile.name: profile for profile in (NEW, PRACTISED, EXPERT)}


def profile_named(name: str) -> Profile:
    """The profile of that name. Raises ConfigError that names the profiles there are."""
    if name not in PROFILES:
        raise ConfigError(
            f"there is no profile {name!r}.", remedy=f"Choose from {', '.join(PROFILES)}."
        )
    return PROFILES[name]
