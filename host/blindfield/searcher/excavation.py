"""Digging out: how much snow, and how long for so many shovellers."""

from __future__ import annotations

import numpy as np

from blindfield.physics.arrays import Floats
from blindfield.searcher.profiles import Profile

PACK_M3 = 0.1  # to free the pack itself; ours
RAMP = 0.75  # of depth^2: a ramp of 1.5 times the depth, tapered; common practice, no source
HOLE_WIDTH_M = 0.8  # common practice, no source
SHARED = 0.8  # each further shoveller adds so much of the first one's work to the power n; ours


def snow_m3(depth_m: Floats) -> Floats:
    """Snow to move for a target at `depth_m`: a tapered ramp to it, and what holds the pack."""
    return RAMP * HOLE_WIDTH_M * depth_m**2 + PACK_M3


def excavation_s(depth_m: Floats, profile: Profile) -> Floats:
    """Seconds of digging: snow over dig rate, n shovellers working as n^0.8 of them.

    All of it common practice or ours, from memory, without a measured source: for practice snow,
    not for debris.
    """
    hands = float(profile.shovellers) ** SHARED
    return np.asarray(snow_m3(depth_m) / (profile.dig_rate_m3_s * hands))
