"""Whether `next` helps: `python tests/benchmarks/next.py [LEARNERS]`.

LEARNERS (default 1000) invented people with weak kinds (`support/weak_kinds.py`) practise until
their true chance at a fresh scenario is 90 %: with the sittings that `next` lays out, with kinds
drawn at random, and one kind after the other. Printed: runs needed, the ratio of the medians, the
median of each learner's ratio with a bootstrap interval, and how often a group of 50 learners, as
in the tests, would miss 0.85. Ends with 1 where the ratio misses what is asked.
"""

from __future__ import annotations

import os
import platform
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[1])]
os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np  # noqa: E402

from support.weak_kinds import (  # noqa: E402
    READY,
    Weak,
    advised,
    at_random,
    in_turn,
    runs_until_ready,
)

LARGEST_RATIO = 0.85
FIRST_SEED = 2_000_000
GROUP = 50


def _one(seed: int) -> tuple[int, int, int]:
    return (
        runs_until_ready(Weak(seed), at_random(seed)),
        runs_until_ready(Weak(seed), advised),
        runs_until_ready(Weak(seed), in_turn),
    )


def main() -> int:
    learners = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    print(f"{platform.platform()}, {os.cpu_count()} processors, numpy {np.__version__}")
    seeds = range(FIRST_SEED, FIRST_SEED + learners)
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        made = np.array(list(pool.map(_one, seeds, chunksize=10)))
    for name, runs in zip(("at random", "next", "in turn"), made.T, strict=True):
        low, middle, high = np.quantile(runs, (0.1, 0.5, 0.9))
        spread = f"10 to 90 %: {low:.0f} to {high:.0f}"
        print(f"{name:<10} runs to {READY:.0%}: median {middle:.0f} ({spread})")
    chance, said = made[:, 0], made[:, 1]
    ratio = float(np.median(said) / np.median(chance))
    each = said / np.maximum(chance, 1)
    rng = np.random.default_rng(1)
    drawn = [np.median(rng.choice(each, each.size)) for _ in range(1000)]
    low, high = np.quantile(drawn, (0.025, 0.975))
    print(f"ratio of the medians {ratio:.3f}")
    print(f"median of the ratios {np.median(each):.3f} (95 %: {low:.3f} to {high:.3f})")
    groups = [made[at : at + GROUP] for at in range(0, learners - GROUP + 1, GROUP)]
    missed = sum(np.median(g[:, 1]) > LARGEST_RATIO * np.median(g[:, 0]) for g in groups)
    print(f"groups of {GROUP} that miss {LARGEST_RATIO}: {missed} of {len(groups)}")
    held = max(ratio, float(np.median(each))) <= LARGEST_RATIO
    print(f"as asked: {'yes' if held else 'NO'}")
    return 0 if held else 1


if __name__ == "__main__":
    sys.exit(main())
