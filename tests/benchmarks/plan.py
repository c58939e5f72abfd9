"""The planner: how long a plan takes, and what it wins over random layouts.

`python tests/benchmarks/plan.py [SEEDS]` prints the time of a plan of 8 targets in the default
field, and for each seed the plan against the best of 1000 random layouts that keep the same rules,
in problems and in minutes of digging; and what share of the published max-min distance of 7 points
its search reaches; with the machine.
"""

from __future__ import annotations

import os
import platform
import statistics
import sys
import time

import numpy as np
import scipy

from blindfield.field.plan import Plan, plan
from blindfield.field.plan_ground import Ground
from blindfield.field.plan_objective import MAX_MIN, Task, terms_of
from blindfield.field.plan_search import Effort, best_layouts, random_layouts
from blindfield.field.plan_signals import Layouts
from blindfield.field.problems import judge

RANDOM = 1000
PUBLISHED = 0.535898  # of the unit square's side; computed by a library


def task_of(targets: int) -> Task:
    ground = Ground()
    return Task(ground, ground.flags(4), new=targets)


def timed(task: Task, seed: int) -> tuple[Plan, float, float]:
    """A plan, its wall time and its processor time."""
    begun_s, used_s = time.perf_counter(), time.process_time()
    made = plan(task, seed=seed)
    return made, time.perf_counter() - begun_s, time.process_time() - used_s


def best_random(task: Task, seed: int) -> tuple[float, int, float]:
    """Objective, problems and minutes of the best of 1000 random layouts."""
    layouts, terms = random_layouts(task, RANDOM, seed)
    best = int(np.argmax(terms.value))
    one = Layouts(*(part[best : best + 1] for part in layouts))
    problems = int(judge(one, task.starts_m, task.hearing).per_kind().sum())
    return float(terms.value[best]), problems, float(task.sweat.total_minutes(one.depth_m)[0])


def margins(targets: int, seeds: int) -> None:
    task = task_of(targets)
    better, problems, minutes, worth, wall_s, used_s = 0, [], [], [], [], []
    for seed in range(1, seeds + 1):
        made, wall, used = timed(task, seed)
        value, count, random_min = best_random(task, seed)
        better += made.objective > value
        worth.append(made.objective - value)
        problems.append(len(made.problems) - count)
        minutes.append(random_min - made.minutes)
        wall_s.append(wall)
        used_s.append(used)
    print(
        f"{targets} targets: better than the best of {RANDOM} random in {better} of {seeds} seeds; "
        f"objective {_told(worth)}; problems {_told(problems)}; digging minutes saved "
        f"{_told(minutes)}; a plan takes {statistics.median(wall_s):.2f} s, worst "
        f"{max(wall_s):.2f} s (processor {statistics.median(used_s):.2f} and {max(used_s):.2f} s)"
    )


def max_min(seeds: int) -> None:
    ground = Ground(pitch_m=0.1, edge_room_m=0.0)
    task = Task(ground, ground.flags(1), new=7, weights=MAX_MIN, separation_m=0.0)
    for effort in (Effort(), Effort(begins=12)):
        shares = [
            float(terms_of(task, best_layouts(task, seed, effort, 1)).value[0]) / 50 / PUBLISHED
            for seed in range(seeds)
        ]
        print(
            f"7 points, begun {effort.begins} times: {100 * statistics.mean(shares):.1f} % of the "
            f"published max-min distance, least {100 * min(shares):.1f} %"
        )


def _told(values: list[float] | list[int]) -> str:
    return f"{statistics.mean(values):+.1f} ({min(values):+.1f} to {max(values):+.1f})"


def main() -> None:
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    print(f"{platform.platform()}, {os.cpu_count()} cores, Python {platform.python_version()},")
    print(f"numpy {np.__version__}, scipy {scipy.__version__}")
    for targets in (8, 6, 4, 3):
        margins(targets, seeds)
    max_min(min(seeds, 8))


if __name__ == "__main__":
    main()
