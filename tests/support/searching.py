"""Problems for the modelled searcher, and profiles without chance."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from blindfield.physics.arrays import Floats
from blindfield.searcher.problem import EXAMPLE
from blindfield.searcher.profiles import PRACTISED, Profile
from blindfield.searcher.scene import scene_of
from blindfield.searcher.state import State, state_of
from blindfield.searcher.values import Problem, Source, Walks

STEADY = replace(
    PRACTISED,
    name="steady",
    speed_spread=0.0,
    heading_error_deg=0.0,
    reading_error=0.0,
    miss_rate=0.0,
    coaxial_range_sigma_m=0.0,
)


def changed(number: int, problem: Problem = EXAMPLE, **changes: Any) -> Problem:
    """The problem with one of its sources changed."""
    sources = list(problem.sources)
    sources[number] = replace(sources[number], **changes)
    return replace(problem, sources=tuple(sources))


def all_changed(problem: Problem = EXAMPLE, **changes: Any) -> Problem:
    """The problem with all of its sources changed."""
    sources = tuple(replace(source, **changes) for source in problem.sources)
    return replace(problem, sources=sources)


def one_target(**changes: Any) -> Problem:
    source = Source("only", 20.0, 30.0, 1.0, azimuth_deg=40.0, tilt_deg=5.0)
    return replace(EXAMPLE, sources=(replace(source, **changes),))


def last_find_s(walks: Walks) -> Floats:
    """Run time of the last find, inf for who gave up before."""
    return np.where(np.isnan(walks.found_s), np.inf, walks.found_s).max(axis=1)


def state_at(
    problem: Problem, profile: Profile, x_m: float, y_m: float, *, count: int = 1, seed: int = 1
) -> State:
    """Searchers who stand there and heading north follow the first source, 3 m displayed."""
    rng = np.random.default_rng(seed)
    scene = scene_of(problem, profile, count=count, rng=rng, until_s=900.0)
    state = state_of(scene, None)
    state.x_m[:], state.y_m[:] = x_m, y_m
    state.lead[:] = 0
    state.shown_m[:] = 3.0
    return state
