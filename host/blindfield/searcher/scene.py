"""What does not change while a problem is walked: places, moments, receivers, pulses, paths."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from blindfield.model.errors import ConfigError
from blindfield.physics.arrays import Bools, Floats, Ints
from blindfield.physics.dipole import moment_of
from blindfield.physics.emission import NOMINAL_MOMENT_A_M2
from blindfield.physics.probing import Outline
from blindfield.physics.pulses import check_receiver, marking_holds, separable
from blindfield.physics.receiver import threshold_a_m
from blindfield.searcher.paths import Path, micro_strips, search_strips, three_circles
from blindfield.searcher.problem import check_problem
from blindfield.searcher.profiles import Profile
from blindfield.searcher.values import Problem

PACK = Outline("rectangle", 0.5, 0.35)  # a target's pack from above; common practice, no source
NOISE_AT_THRESHOLD = 0.5  # of the weakest field: 6 dB (S+N)/N, EN 282 as quoted; per axis, ours
_LEAST_RANGE = 0.5  # of the mean: no draw of a receiver is worse, ours
_LONGEST_S = 4 * 3600.0


@dataclass(frozen=True)
class Scene:
    """One problem as `count` searchers meet it, k sources. Draws are made once, by `rng`.

    `hides[second, j, l]`: sender j cannot be told apart from l then; `spoils[second, j, l]`:
    marking l would hide j too.
    """

    problem: Problem
    profile: Profile
    rng: np.random.Generator
    until_s: float
    place_m: Floats  # (k, 3)
    depth_m: Floats  # (k,)
    moment_a_m2: Floats  # (n, k, 3)
    pack_azimuth_deg: Floats  # (n, k)
    pace: Floats  # (n,) factor on every speed
    threshold_a_m: Floats  # (n,)
    hides: Bools
    spoils: Bools
    strips: Path
    backup: Path

    @property
    def senders(self) -> int:
        return self.depth_m.size

    def second(self, run_s: Floats) -> Ints:
        """The row of `hides` and `spoils` at these run times."""
        row: Ints = np.minimum(run_s.astype(np.int64), self.hides.shape[0] - 1)
        return row


def scene_of(
    problem: Problem, profile: Profile, *, count: int, rng: np.random.Generator, until_s: float
) -> Scene:
    """Checks the problem and draws what differs between searchers. Raises ConfigError."""
    check_problem(problem)
    if not 0 < until_s <= _LONGEST_S:
        raise ConfigError(f"a search of {until_s} s cannot be walked (above 0, at most 4 hours).")
    places = [(s.x_m, s.y_m, -s.depth_m) for s in problem.sources]
    hides, spoils = _pulse_tables(problem, profile, until_s)
    reach = rng.normal(profile.coaxial_range_m, profile.coaxial_range_sigma_m, count)
    reach = np.maximum(reach, _LEAST_RANGE * profile.coaxial_range_m)
    return Scene(
        problem=problem,
        profile=profile,
        rng=rng,
        until_s=until_s,
        place_m=np.array(places),
        depth_m=np.array([s.depth_m for s in problem.sources]),
        moment_a_m2=_moments(problem, count, rng),
        pack_azimuth_deg=rng.uniform(0.0, 180.0, (count, len(places))),
        pace=np.exp(rng.normal(0.0, profile.speed_spread, count)),
        threshold_a_m=threshold_a_m(reach),
        hides=hides,
        spoils=spoils,
        strips=search_strips(problem, profile.strip_width_m),
        backup=micro_strips() if profile.backup == "micro_strips" else three_circles(),
    )


def _moments(problem: Problem, count: int, rng: np.random.Generator) -> Floats:
    """Moments (n, k, 3). An antenna nobody noted lies anywhere, evenly over the sphere."""
    shape = (count, len(problem.sources))
    azimuth = rng.uniform(0.0, 360.0, shape)
    tilt = np.degrees(np.arcsin(rng.uniform(-1.0, 1.0, shape)))
    strength = np.empty(shape)
    for number, source in enumerate(problem.sources):
        strength[:, number] = source.moment_a_m2 or NOMINAL_MOMENT_A_M2
        if source.azimuth_deg is not None:
            azimuth[:, number] = source.azimuth_deg
        if source.tilt_deg is not None:
            tilt[:, number] = source.tilt_deg
    return moment_of(strength, azimuth, tilt)


def _pulse_tables(problem: Problem, profile: Profile, until_s: float) -> tuple[Bools, Bools]:
    """`hides` and `spoils` (seconds, k, k), pair by pair: pulses are the same for all searchers."""
    senders = problem.sources
    seconds = np.arange(math.ceil(until_s) + 1.0)
    hides = np.zeros((seconds.size, len(senders), len(senders)), dtype=bool)
    spoils = hides.copy()
    for j, one in enumerate(senders):
        _check_receiver(profile, one.period_s, one.on_s)
        for other in range(len(senders)):
            if other == j:
                continue
            pair = (one, senders[other])
            trains = (
                np.array([[s.period_s for s in pair]]),
                np.array([[s.on_s for s in pair]]),
                np.array([[s.phase_s for s in pair]]),
            )
            window_s, gap_s = profile.separation_window_s, profile.pulse_resolution_s
            told = separable(*trains, start_s=seconds, window_s=window_s, resolution_s=gap_s)
            marked = np.array([[False, True]])
            holds = marking_holds(
                *trains, marked, start_s=seconds, window_s=window_s, resolution_s=gap_s
            )
            hides[:, j, other], spoils[:, j, other] = ~told[:, 0], ~holds[:, 0]
    return hides, spoils


def _check_receiver(profile: Profile, period_s: float, on_s: float) -> None:
    window_s, gap_s = profile.separation_window_s, profile.pulse_resolution_s
    try:
        check_receiver(gap_s, window_s, period_s, on_s)
    except ValueError as error:
        raise ConfigError(
            f"the profile {profile.name!r} cannot be: {error} "
            f"(pulse_resolution_s = {gap_s:g}, separation_window_s = {window_s:g})."
        ) from error
