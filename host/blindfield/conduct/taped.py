"""How to find a target that nobody hears: by its taped place, and by probing around it."""

from __future__ import annotations

import math

import numpy as np

from blindfield.field.as_built import BuiltTarget
from blindfield.model.field import Target
from blindfield.physics.probing import SPIRAL_STEP_M, spiral_m, strokes_to_hit
from blindfield.searcher.scene import PACK

TAPED_SIGMA_M = 0.4  # of a place that nobody measured, each way: twice what serves a searcher, ours
LEAST_RADIUS_M = 0.5
WITHIN_95 = math.sqrt(-2.0 * math.log(0.05))  # sigmas that hold 95 % in the plane (Rayleigh)
DRAWS = 4000
BELOW_M = 0.3  # deeper than it is said to lie: snow creeps and drifts, ours


def place_text(target: Target) -> str:
    """Where it lies, for somebody with a tape."""
    return (
        f"{target.x_m:.1f} m along the base line from the first peg, {target.y_m:.1f} m up from "
        f"it, {target.depth_m:.2f} m deep"
    )


def chance_met(out_to_m: float, sigma_m: float) -> float:
    """That the spiral's strokes out to `out_to_m` about the taped place meet the pack.

    By DRAWS even draws of where it lies (two normal errors of `sigma_m`) and how: good to 0.005.
    Every stroke is taken to go straight down, deep enough, and to be noticed when it hits.
    """
    rng = np.random.default_rng(0)
    places_m = rng.normal(0.0, sigma_m, (DRAWS, 2))
    strokes_m = spiral_m(SPIRAL_STEP_M, out_to_m)
    return float(
        np.mean(strokes_to_hit(strokes_m, PACK, places_m, rng.uniform(0.0, 180.0, DRAWS)) > 0)
    )


def radius_m(one: BuiltTarget) -> float:
    """The circle about the taped place to probe first: it holds 95 %."""
    return max(LEAST_RADIUS_M, WITHIN_95 * sigma_m(one))


def sigma_m(one: BuiltTarget) -> float:
    """Standard error of its place, each way."""
    if one.sigma_m is not None and not one.put_back_since_placed:
        return max(one.sigma_m, 0.01)
    return TAPED_SIGMA_M


def how_to_probe(one: BuiltTarget) -> list[str]:
    """Sentences: the place and who said it, the grid, its strokes and what it finds."""
    said = "as measured" if one.place_measured else "as the field's file says, not measured"
    flags = "".join(f"; {flag}" for flag in one.flags())
    first_m = math.ceil(radius_m(one) * 10) / 10
    step_cm = SPIRAL_STEP_M * 100
    down_m = math.ceil((one.target.depth_m + BELOW_M) * 10) / 10
    return [
        f"It lies {place_text(one.target)} ({said}{flags}).",
        f"Probe at that point, then round it in a spiral of {step_cm:.0f} cm steps, at right "
        f"angles to the surface and {down_m:.1f} m deep. Leave the probe in on a hit.",
        _round(one, first_m),
        f"Nothing? Probe on: {_round(one, 2 * first_m)}",
    ]


def _round(one: BuiltTarget, out_to_m: float) -> str:
    strokes = len(spiral_m(SPIRAL_STEP_M, out_to_m))
    chance = _percent(chance_met(out_to_m, sigma_m(one)))
    return (
        f"Out to {out_to_m:.1f} m: {strokes} strokes, {chance} (calculated for a "
        f"place known to {sigma_m(one):.1f} m and a pack of {PACK.length_m * 100:.0f} x "
        f"{PACK.width_m * 100:.0f} cm)."
    )


def _percent(chance: float) -> str:
    """Never a certainty that no calculation gives."""
    return "a chance of more than 99 %" if chance > 0.99 else f"a chance of {chance:.0%}"
