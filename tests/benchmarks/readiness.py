"""How well readiness is calibrated: `python tests/benchmarks/readiness.py [LEARNERS]`.

LEARNERS (default 4000) invented people, none of whom follows the fitted model
(`support/learners.py`), practise 8 to 40 runs and then make 20 fresh ones. Printed for several
populations: expected calibration error with a bootstrap interval over learners, the worst tenth
that holds 5 % of the runs, the Brier score beside the pass rate of the last five runs and beside
least squares that drops cut runs, how often the 90 % interval holds the true share, the time of one
answer. Ends with 1 where a figure misses what is asked.
"""

from __future__ import annotations

import os
import platform
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[1])]
os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np  # noqa: E402

from support.calibration import (  # noqa: E402
    HELD_OUT,
    Forecasts,
    bootstrap,
    brier,
    calibration_error,
    forecast,
    worst_gap,
)

LARGEST_ERROR, LARGEST_GAP = 0.03, 0.06
FIRST_SEED = 5_000_000  # none of those that the priors were tried on
TRUE_RUNS = 400
POPULATIONS = {
    "as drawn": {},
    "quick from the start": {"first_s": 520.0},
    "slow": {"first_s": 950.0},
    "kinds far apart": {"kinds_apart": 0.4},
    "phases added up, steps missed": {"phased": True},
    "7 min": {"limit_s": 420.0, "first_s": 500.0},
}


def _forecasts(learners: int, population: dict[str, float]) -> Forecasts:
    seeds = np.array_split(np.arange(FIRST_SEED, FIRST_SEED + learners), 40)
    work = partial(forecast, true_runs=TRUE_RUNS, **population)
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        parts = list(pool.map(work, [[int(one) for one in some] for some in seeds]))
    return Forecasts(
        np.concatenate([one.passes for one in parts]),
        np.concatenate([one.true for one in parts]),
        {name: np.concatenate([one.guesses[name] for one in parts]) for name in parts[0].guesses},
        np.concatenate([one.low for one in parts]),
        np.concatenate([one.high for one in parts]),
    )


def _show(name: str, made: Forecasts) -> bool:
    print(f"\n{name}: {len(made.passes)} learners, {HELD_OUT} held-out runs each")
    scores = {}
    for way, guess in made.guesses.items():
        scores[way] = brier(guess, made.passes)
        error, worst = calibration_error(guess, made.passes), worst_gap(guess, made.passes)
        low, high = bootstrap(guess, made.passes)
        print(
            f"  {way:<24} ECE {error:.4f} ({low:.4f} to {high:.4f})   worst tenth {worst:.4f}   "
            f"Brier {scores[way]:.4f}"
        )
    print(f"  90 % interval holds the true share in {100 * made.covered:.1f} %")
    ready = made.guesses["readiness"]
    best = min(scores, key=lambda way: scores[way]) == "readiness"
    error, worst = calibration_error(ready, made.passes), worst_gap(ready, made.passes)
    return best and error <= LARGEST_ERROR and worst <= LARGEST_GAP


def main() -> int:
    learners = int(sys.argv[1]) if len(sys.argv) > 1 else 4000
    print(f"{platform.platform()}, {os.cpu_count()} processors, numpy {np.__version__}")
    begun_s = time.perf_counter()
    held = [_show(name, _forecasts(learners, changes)) for name, changes in POPULATIONS.items()]
    each_ms = 1e3 * (time.perf_counter() - begun_s) * (os.cpu_count() or 1)
    print(
        f"\n{each_ms / learners / len(held):.1f} ms of one processor for each learner, all in all"
    )
    print(f"as asked: {'yes' if all(held) else 'NO'}")
    return 0 if all(held) else 1


if __name__ == "__main__":
    sys.exit(main())
