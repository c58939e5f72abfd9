"""How fast the modelled searcher walks: python tests/benchmarks/searcher.py [COUNT, default 1000]

Best of seven runs for each problem and profile, on one core; then the sizes that par and a single
trace ask for.
"""

import platform
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / name) for name in ("host", "firmware", "tests")]

import numpy as np  # noqa: E402

from blindfield.searcher.problem import EXAMPLE  # noqa: E402
from blindfield.searcher.profiles import PRACTISED, PROFILES  # noqa: E402
from blindfield.searcher.values import Source  # noqa: E402
from blindfield.searcher.walk import trace, walk  # noqa: E402

RUNS = 7
SEED = 2026
THIRD = Source("3", 10.0, 40.0, 1.2, period_s=1.02, phase_s=0.2)
PROBLEMS = {
    "two targets": EXAMPLE,
    "two, marking forbidden": replace(EXAMPLE, marking_allowed=False),
    "two, dug out": replace(EXAMPLE, end_on="dug_out"),
    "three targets": replace(EXAMPLE, sources=(*EXAMPLE.sources, THIRD)),
}


def best_s(work: Callable[[], object]) -> float:
    """Shortest of the runs, after one that warms up."""
    work()
    times = []
    for _ in range(RUNS):
        begin = time.perf_counter()
        work()
        times.append(time.perf_counter() - begin)
    return min(times)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    print(f"{platform.machine()}, Python {platform.python_version()}, numpy {np.__version__}")
    print(f"{count} searchers, best of {RUNS}; medians of the last find are the model's")
    for title, problem in PROBLEMS.items():
        for name, profile in PROFILES.items():
            took_s = best_s(lambda: walk(problem, profile, count=count, seed=SEED))  # noqa: B023
            found_s = walk(problem, profile, count=count, seed=SEED).found_s.max(axis=1)
            median_s = np.median(np.where(np.isnan(found_s), np.inf, found_s))
            print(
                f"{title:24} {name:10} {took_s:6.3f} s  {count / took_s:7.0f} searches/s"
                f"  last find {median_s:4.0f} s"
            )
    took_s = best_s(lambda: walk(EXAMPLE, PRACTISED, count=500, seed=SEED))
    print(f"par of 500, two targets: {took_s:.3f} s")
    took_s = best_s(lambda: trace(EXAMPLE, PRACTISED, seed=SEED))
    print(f"one trace: {took_s:.3f} s")


if __name__ == "__main__":
    main()
