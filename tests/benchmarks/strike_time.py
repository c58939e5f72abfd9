"""Strike times of whole runs against the truth: conductor, sealed link, clock, core together.

`python tests/benchmarks/strike_time.py [RUNS]`: 15 min of virtual time a run, 6 targets, clocks
off by up to +-50 ppm, 0.1-0.6 ms each way. The error is that of the stamp's time on the host's
timeline, given the block's time: the detector's own error in finding the touch is not in it.
"""

from __future__ import annotations

import asyncio
import platform
import random
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from blindfield.conduct.journal_events import ONSET_S  # noqa: E402
from blindfield.links.keyfile import new_key, read_key  # noqa: E402
from blindfield.links.sim.field import SimField, sim_field_of  # noqa: E402
from blindfield.links.virtual_time import run_virtual  # noqa: E402
from blindfield.model.events import Event  # noqa: E402
from fieldcore.instant import total_us  # noqa: E402
from support.desks import begun, bench  # noqa: E402
from support.scenarios import small_field  # noqa: E402

LIMIT_S = 600.0
LAST_S = 890.0
EARLY_S = 60.0


@dataclass(frozen=True)
class Row:
    """One strike: run time, error of its best time, whether the truth lies within its bounds."""

    run_s: float
    error_s: float
    inside: bool


async def _run(folder: Path, seed: int) -> list[Row]:
    place = small_field(folder=folder)
    new_key(place.key_path)
    sim = sim_field_of(place, read_key(place.key_path), seed=seed, ppm_spread=50.0)
    for device in sim.devices.values():
        device.line.delay_s = (0.0001, 0.0006)
    draw = random.Random(seed)
    async with bench(folder, sim=sim) as b:
        conductor, scenario = await b.prepared("single", limit_s=LIMIT_S, seed=seed)
        resting = [part.name for part in scenario.targets if not part.in_play]
        task = await begun(conductor, scenario)
        start_s = asyncio.get_running_loop().time()
        strikes = conductor.on_change = Seen()
        moments = sorted(
            [draw.uniform(6, EARLY_S) for _ in range(6)]
            + [draw.uniform(EARLY_S, LAST_S) for _ in range(24)]
        )
        for moment_s in moments:
            await asyncio.sleep(max(0.0, start_s + moment_s - asyncio.get_running_loop().time()))
            sim.probe(draw.choice(resting))
        await asyncio.sleep(3)
        rows = [_row(sim, event, start_s) for event in strikes.events]
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
    sim.stop()
    return rows


class Seen:
    """Sharp strikes as the conductor hears of them."""

    def __init__(self) -> None:
        self.events: list[Event] = []

    def __call__(self, event: Event) -> None:
        if event.kind == "strike" and event.data["shape"] == "sharp":
            self.events.append(event)


def _row(sim: SimField, event: Event, start_s: float) -> Row:
    device = sim.devices[event.data["device"]]
    now_s = asyncio.get_running_loop().time()
    assert device.core is not None
    assert event.device_time is not None
    assert event.host_s is not None
    assert event.host_s.best is not None
    device.core.advance(device.board.clock.ticks_us(now_s))
    clock = device.core.clock
    back_us = total_us(clock.lap, clock.ms, clock.us) - total_us(*event.device_time[1:])
    true_s = now_s - back_us * 1e-6 / device.board.clock.rate
    before_s, after_s = ONSET_S["sharp"]  # the detector's share of the bounds is not the clock's
    inside = event.host_s.low + before_s <= true_s <= event.host_s.high - after_s
    return Row(true_s - start_s, event.host_s.best - true_s, inside)


def _tell(what: str, rows: list[Row]) -> None:
    errors = sorted(abs(row.error_s) * 1e3 for row in rows)
    inside = sum(row.inside for row in rows) / len(rows)
    p50, p95 = errors[len(errors) // 2], errors[int(0.95 * (len(errors) - 1))]
    print(f"{what:24s} {len(rows):5d} strikes: p50 {p50:.3f}, p95 {p95:.3f},", end=" ")
    print(f"most {errors[-1]:.3f} ms; truth within low-high {inside:.2%}")


def main() -> None:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    rows: list[Row] = []
    for seed in range(runs):
        with tempfile.TemporaryDirectory() as folder:
            rows += run_virtual(_run(Path(folder), seed))
    print(f"{platform.machine()}, Python {platform.python_version()}; {runs} simulated runs")
    _tell("first minute", [row for row in rows if row.run_s < EARLY_S])
    _tell("after the first minute", [row for row in rows if row.run_s >= EARLY_S])
    _tell("all", rows)


if __name__ == "__main__":
    main()
