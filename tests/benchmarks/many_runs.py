"""A logbook of 100 000 runs: `python tests/benchmarks/many_runs.py [RUNS]`.

Prints the time to open it and of `progress` and `next`, beside those of a logbook of 1000 runs: of
200 people and of one alone, within the process and, for the last, as a command from the shell.
"first": nothing was worked out before. Ends with 1 where one of them takes more than a second.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import platform
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[1])]

from blindfield.console import next as next_command  # noqa: E402
from blindfield.console import progress as progress_command  # noqa: E402
from blindfield.logbook.book import Logbook  # noqa: E402
from support.many_runs import fill  # noqa: E402

FEW, LONGEST_S = 1000, 1.0
REPEATS = 5


def _timed_s(work: Callable[[], object]) -> float:
    begun_s = time.perf_counter()
    with contextlib.redirect_stdout(io.StringIO()):
        work()
    return time.perf_counter() - begun_s


def _run(module: object, folder: Path) -> Callable[[], object]:
    parser = argparse.ArgumentParser()
    module.add_arguments(parser)  # type: ignore[attr-defined]
    options = parser.parse_args(["--field", str(folder)])
    return lambda: module.run(options)  # type: ignore[attr-defined]


def _measure(folder: Path, runs: int, searchers: int) -> dict[str, float]:
    path = fill(folder, runs, searchers=searchers)
    times = {
        "open": min(_timed_s(lambda: Logbook.open(path, field_key=None).close()) for _ in "12345")
    }
    for name, module in (("progress", progress_command), ("next", next_command)):
        work = _run(module, folder)
        if name == "progress":
            times["progress, first"] = _timed_s(work)
        times[name] = min(_timed_s(work) for _ in range(REPEATS))
    return times


def _shell_s(folder: Path, name: str) -> float:
    words = [sys.executable, "-m", "blindfield.console.main", name, "--field", str(folder)]
    return min(
        _timed_s(lambda: subprocess.run(words, check=True, capture_output=True)) for _ in "123"
    )


def _compared(runs: int, searchers: int) -> float:
    """Prints the figures of so many people; the longest of them in seconds."""
    with tempfile.TemporaryDirectory() as few, tempfile.TemporaryDirectory() as many:
        before = _measure(Path(few), FEW, searchers)
        after = _measure(Path(many), runs, searchers)
        print(f"\n{searchers} people: {runs} runs (beside {FEW})")
        for name, took_s in after.items():
            few_s = before[name]
            took = f"{took_s * 1e3:7.0f} ms   {few_s * 1e3:7.0f} ms   x {took_s / few_s:.1f}"
            print(f"  {name:<16} {took}")
        shell = {name: _shell_s(Path(many), name) for name in ("progress", "next")}
    for name, took_s in shell.items():
        print(f"  {name + ', from the shell':<24} {took_s * 1e3:.0f} ms")
    return max(*after.values(), *shell.values())


def main() -> int:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    print(f"{platform.platform()}, {os.cpu_count()} processors, SQLite {sqlite3.sqlite_version}")
    with tempfile.TemporaryDirectory() as folder:
        _measure(Path(folder), 60, 2)  # everything imported
    worst_s = max(_compared(runs, searchers) for searchers in (200, 1))
    print(f"\nas asked: {'yes' if worst_s <= LONGEST_S else 'NO'}")
    return 0 if worst_s <= LONGEST_S else 1


if __name__ == "__main__":
    sys.exit(main())
