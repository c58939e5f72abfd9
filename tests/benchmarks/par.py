"""What par costs and how well it is known: `python tests/benchmarks/par.py [SEEDS]`.

On the built-in example, 500 searchers: time walked and from the cache, searches per second, the
standard error of the median as told, and as found from the medians of many seeds.
"""

from __future__ import annotations

import os
import platform
import statistics
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from blindfield.searcher.cache import ParCache, model_version
from blindfield.searcher.par import Par, par_of
from blindfield.searcher.problem import EXAMPLE
from blindfield.searcher.profiles import PROFILES, Profile
from blindfield.searcher.refit import Observed, refit
from blindfield.searcher.values import Problem


def timed(problem: Problem, profile: Profile, seed: int, cache: ParCache) -> tuple[Par, float]:
    begun_s = time.perf_counter()
    par = par_of(problem, profile, seed=seed, cache=cache)
    return par, time.perf_counter() - begun_s


def figures(name: str, problem: Problem, profile: Profile, seeds: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        cache = ParCache(Path(folder))
        walked = [timed(problem, profile, seed, cache) for seed in range(1, seeds + 1)]
        kept = [timed(problem, profile, seed, cache) for seed in range(1, seeds + 1)]
    assert [par for par, _ in walked] == [par for par, _ in kept]
    walked_s = statistics.median(seconds for _, seconds in walked)
    kept_ms = statistics.median(seconds for _, seconds in kept) * 1e3
    medians = [par.whole.median for par, _ in walked if par.whole.median is not None]
    told = [
        par.median_error_s / par.whole.median
        for par, _ in walked
        if par.median_error_s is not None and par.whole.median is not None
    ]
    print(
        f"{name:22s} walked {walked_s:5.2f} s ({500 / walked_s:6.0f} searches a second), cached "
        f"{kept_ms:4.1f} ms; median {statistics.mean(medians):6.1f} s, its standard error "
        f"told {100 * statistics.mean(told):.2f} % (most {100 * max(told):.2f} %), over seeds "
        f"{100 * statistics.stdev(medians) / statistics.mean(medians):.2f} %"
    )


def refit_of(runs: int) -> None:
    """A refit to that many runs of two legs, each on a problem of its own, nothing cached."""
    first, second = EXAMPLE.sources
    legs = []
    for run in range(runs):
        problem = replace(EXAMPLE, sources=(replace(first, x_m=5.0 + run), second))
        legs += [Observed(problem, leg, 150.0) for leg in (1, 2)]
    begun_s = time.perf_counter()
    refit(legs, PROFILES["practised"], count=200)
    print(f"refit to {runs} runs, 200 searches each: {time.perf_counter() - begun_s:.1f} s")


def main() -> None:
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 12
    print(f"{platform.platform()}, {os.cpu_count()} cores, Python {platform.python_version()},")
    print(f"numpy {np.__version__}; model {model_version()[:8]}; {seeds} seeds, the middle one.")
    for profile in PROFILES.values():
        figures(profile.name, EXAMPLE, profile, seeds)
    figures("practised, dug out", replace(EXAMPLE, end_on="dug_out"), PROFILES["practised"], seeds)
    refit_of(20)


if __name__ == "__main__":
    main()
