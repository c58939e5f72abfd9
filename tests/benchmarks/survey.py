"""Surveys with 10 cm of reading noise and one blunder of 1 m: is it found, and where are targets?

`python tests/benchmarks/survey.py [SURVEYS]`: each of six targets on the default field, planned
places off by 0.7 m a coordinate, tapes from the pegs that the program asks for, pegs themselves
without error. Three readings a target; and five at the target with the blunder.
"""

from __future__ import annotations

import platform
import sys
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from support.scenarios import small_field  # noqa: E402
from support.surveying import TARGETS, survey_with_a_blunder  # noqa: E402


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    chance = np.random.default_rng(457)
    began_s = time.perf_counter()
    found = [survey_with_a_blunder(small_field(), chance) for _ in range(count)]
    took_s = time.perf_counter() - began_s
    errors_m = np.array([one.error_m for one in found])
    alarms = sum(one.false_alarms for one in found) / (count * (TARGETS - 1))
    print(
        f"{platform.machine()}, Python {platform.python_version()}; {count} surveys, {took_s:.1f} s"
    )
    print(f"three readings: the target named {np.mean([one.named_target for one in found]):.1%};")
    print(f"  good targets asked about in vain {alarms:.2%}")
    print(f"five readings: the reading named {np.mean([one.named_reading for one in found]):.1%},")
    print(f"  another one named {np.mean([one.wrong_reading for one in found]):.1%}")
    print(
        f"  place off by p50 {np.percentile(errors_m, 50):.3f}, "
        f"p95 {np.percentile(errors_m, 95):.3f}, most {errors_m.max():.3f} m"
    )


if __name__ == "__main__":
    main()
