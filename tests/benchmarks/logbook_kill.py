"""500 kills while recording: `python tests/benchmarks/logbook_kill.py [ROUNDS] [SEED]`.

Each kill (SIGKILL) comes at a random moment among up to 200 acknowledgements: events of open runs,
closes, and what is said of closed runs. Prints how much was acknowledged and recovered, how many
runs were worked out anew, and what was lost, doubled, torn or differs: all of these must be 0, or
the exit status is 1.
"""

from __future__ import annotations

import json
import os
import platform
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
ROUNDS, SEED = "500", "1"
FAULTS = ("lost", "doubled", "torn", "several_open", "differ")


def main() -> int:
    print(f"{platform.platform()}, {os.cpu_count()} processors, SQLite {sqlite3.sqlite_version}")
    rounds, seed = [*sys.argv[1:], *(ROUNDS, SEED)[len(sys.argv) - 1 :]]
    command = [sys.executable, "-m", "support.logbook_kill", rounds, "--most", "200"]
    begun_s = time.perf_counter()
    done = subprocess.run(
        [*command, "--seed", seed], cwd=TESTS, stdout=subprocess.PIPE, check=True, text=True
    )
    found = json.loads(done.stdout)
    for name, count in found.items():
        print(f"{name:<14} {count}")
    print(f"took           {time.perf_counter() - begun_s:.0f} s")
    return int(any(found[name] for name in FAULTS))


if __name__ == "__main__":
    sys.exit(main())
