"""A 15 min run of 6 targets on virtual time, host and devices in one process.

`python tests/benchmarks/whole_run.py [RUNS]` prints wall time a run and the machine.
"""

from __future__ import annotations

import asyncio
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from blindfield.links.virtual_time import run_virtual  # noqa: E402
from support.desks import begun, bench, in_order  # noqa: E402  (the tests' helpers)


async def _run(folder: Path) -> int:
    async with bench(folder) as b:
        conductor, scenario = await b.prepared(limit_s=600.0)
        task = await begun(conductor, scenario)
        await asyncio.sleep(200)
        b.sim.probe(in_order(scenario)[0])
        await task
        return sum(len(b.sim.carrier_log(name)) for name in "123456")


def _wall_s() -> tuple[float, int]:
    with tempfile.TemporaryDirectory() as folder:
        begin_s = time.perf_counter()
        pulses = run_virtual(_run(Path(folder)))
        return time.perf_counter() - begin_s, pulses


def _version_s() -> float:
    begin_s = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "blindfield.console.main", "--version"],
        check=True,
        capture_output=True,
    )
    return time.perf_counter() - begin_s


def main() -> None:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    walls = [_wall_s() for _ in range(runs)]
    versions = [_version_s() for _ in range(11)]
    print(f"{platform.machine()}, Python {platform.python_version()}, {runs} runs")
    _tell(f"15 min run, 6 targets, {walls[0][1]} pulses", [wall_s for wall_s, _ in walls])
    _tell("blindfield --version", versions)


def _tell(what: str, walls_s: list[float]) -> None:
    middle_s, worst_s = statistics.median(walls_s), max(walls_s)
    print(f"{what}: median {middle_s:.3f} s, worst {worst_s:.3f} s of wall time")


if __name__ == "__main__":
    main()
