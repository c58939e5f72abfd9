"""Our dipole kernel against magpylib's fastest call: `python tests/benchmarks/dipole.py`.

Both get the same points in one run, in turns, and the best of the rounds counts for each. At least
1.0 times magpylib's speed at every size and an agreement of 1e-12 of the field are required: the
script ends with status 1 otherwise. magpylib's faster call is its core function (its object
interface is timed once, to show that).
"""

from __future__ import annotations

import platform
import sys
import timeit
from collections.abc import Callable

import magpylib
import numpy as np

from blindfield.physics.arrays import Floats
from blindfield.physics.dipole import field_a_m, magnitude_a_m

SIZES = (1, 10, 100, 1_000, 2_000, 10_000, 100_000, 1_000_000)
ROUNDS = 9
ROUND_S = 0.05
REQUIRED_SPEED = 1.0
REQUIRED_AGREEMENT = 1e-12


def best_s(calls: list[Callable[[], object]]) -> list[float]:
    """Best time of each call over rounds in which they take turns."""
    repeats = [
        max(1, int(ROUND_S / max(timeit.timeit(call, number=2) / 2, 1e-9))) for call in calls
    ]
    rounds = [
        [timeit.timeit(call, number=n) / n for call, n in zip(calls, repeats, strict=True)]
        for _ in range(ROUNDS)
    ]
    return [min(times) for times in zip(*rounds, strict=True)]


def draw(count: int) -> tuple[Floats, Floats]:
    rng = np.random.default_rng(count)
    return rng.normal(size=(count, 3)) * 10.0, rng.normal(size=(count, 3)) * 6.5e-3


def row(count: int) -> tuple[float, float]:
    """Print one size; the ratio of speeds and the largest disagreement."""
    offset_m, moment = draw(count)
    ours_s, theirs_s = best_s(
        [
            lambda: field_a_m(offset_m, moment),
            lambda: magpylib.core.dipole_Hfield(offset_m, moment),
        ]
    )
    theirs = magpylib.core.dipole_Hfield(offset_m, moment)
    wrong = magnitude_a_m(field_a_m(offset_m, moment) - theirs) / magnitude_a_m(theirs)
    ratio, apart = theirs_s / ours_s, float(wrong.max())
    print(
        f"{count:9,d} points: ours {ours_s * 1e6:10.1f} us, magpylib {theirs_s * 1e6:10.1f} us,"
        f" {ratio:5.2f} x its speed, apart by {apart:.1e}"
    )
    return ratio, apart


def by_object(count: int) -> None:
    """magpylib's object interface for one dipole and many points, beside its core function."""
    offset_m, _ = draw(count)
    dipole = magpylib.misc.Dipole(moment=(0.0, 0.0, 6.5e-3))
    moment = np.array([0.0, 0.0, 6.5e-3])
    objects_s, core_s, ours_s = best_s(
        [
            lambda: dipole.getH(offset_m),
            lambda: magpylib.core.dipole_Hfield(offset_m, moment[None, :]),
            lambda: field_a_m(offset_m, moment),
        ]
    )
    print(
        f"one dipole, {count:,d} points: magpylib's objects {objects_s * 1e6:.1f} us, its core"
        f" {core_s * 1e6:.1f} us, ours {ours_s * 1e6:.1f} us ({core_s / ours_s:.2f} x its speed)"
    )


def main() -> int:
    print(
        f"{platform.machine()}, Python {platform.python_version()}, numpy {np.__version__},"
        f" magpylib {magpylib.__version__}; best of {ROUNDS} rounds in turns"
    )
    rows = [row(count) for count in SIZES]
    by_object(1_000)
    slowest, widest = min(ratio for ratio, _ in rows), max(apart for _, apart in rows)
    print(f"slowest {slowest:.2f} x magpylib's speed (at least {REQUIRED_SPEED} required)")
    print(f"widest disagreement {widest:.1e} of the field (at most {REQUIRED_AGREEMENT} allowed)")
    return int(slowest < REQUIRED_SPEED or widest > REQUIRED_AGREEMENT)


if __name__ == "__main__":
    sys.exit(main())
