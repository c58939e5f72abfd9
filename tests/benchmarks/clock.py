"""How well a strike's device time is placed on the host's clock, by models of the links.

`python tests/benchmarks/clock.py [RUNS]`: prints figures per link, live and afterwards.
"""

from __future__ import annotations

import platform
import random
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from support.clock_models import Delays, Device, Outcome, ble_30ms, outcomes, serial


def draws(delays: Delays, runs: int, live: bool, wander: float) -> list[Outcome]:
    draw = random.Random(457)
    found: list[Outcome] = []
    for _ in range(runs):
        device = Device(draw.uniform(-50e-6, 50e-6), draw.uniform(-wander, wander))
        found += outcomes(draw, delays, device, live)
    return found


def line(name: str, found: list[Outcome]) -> str:
    errors = sorted(abs(one.error_s) * 1e3 for one in found)
    widths = sorted(one.width_s * 1e3 for one in found)
    bias = sum(one.error_s for one in found) / len(found) * 1e3
    inside = sum(one.inside for one in found) / len(found)

    def at(values: list[float], share: float) -> float:
        return values[int(share * (len(values) - 1))]

    return (
        f"{name:34s} best: bias {bias:+6.2f}  p50 {at(errors, 0.5):5.2f}"
        f"  p95 {at(errors, 0.95):5.2f}  max {errors[-1]:6.2f} ms | low-high: holds {inside:8.3%}"
        f"  width p50 {at(widths, 0.5):5.2f}  p95 {at(widths, 0.95):5.2f} ms"
    )


def main() -> None:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    print(f"{platform.platform()}, Python {platform.python_version()}; {runs} runs x 20 events,")
    print("15 min, skew +-50 ppm constant, or also changing by up to 0.5 ppm a minute; models.")
    begun = time.perf_counter()
    for link, delays in (("serial", serial), ("BLE 30 ms", ble_30ms)):
        for wander_name, wander in (("constant", 0.0), ("wandering", 0.5e-6 / 60)):
            for live in (True, False):
                when = "live" if live else "afterwards"
                print(line(f"{link}, {wander_name}, {when}", draws(delays, runs, live, wander)))
    print(f"{time.perf_counter() - begun:.1f} s")


if __name__ == "__main__":
    main()
