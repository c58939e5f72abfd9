"""The detectors' full figures: python tests/benchmarks/strike.py [DRAWS, default 10000]

Draws from the stated model (unproven until calibrated in the ground), at 800, 1000 and 1600 Hz in
turn, each signal played to a board with a plate and to one without. Then the recorded walking, and
what a quiet sample costs on MicroPython.
"""

import platform
import sys
import time
from collections import Counter
from pathlib import Path
from random import Random

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / name) for name in ("host", "firmware", "tests")]

from blindfield.links.sim.strikes import PLATE, generate  # noqa: E402
from fieldcore.sensor import ACCELEROMETER, defaults  # noqa: E402
from fieldcore.strike import PUSH, SHARP, StrikeDetector  # noqa: E402
from support.interpreters import run_micropython  # noqa: E402
from support.samples import Felt, play, recordings  # noqa: E402

BOTH = ACCELEROMETER | PLATE
RATES_HZ = (800.0, 1000.0, 1600.0)
SEED = 2026
# kind, distance in m, strength, share of the draws
ROWS = (
    ("sharp", 0.0, 1.0, 1.0),
    ("sharp", 0.0, 0.5, 0.2),
    ("sharp", 0.0, 2.0, 0.2),
    ("push", 0.0, 1.0, 1.0),
    ("push", 0.0, 0.7, 0.2),
    ("push", 0.0, 1.5, 0.2),
    ("miss", 0.1, 1.0, 1.0),
    ("miss", 0.2, 1.0, 1.0),
    ("miss", 0.3, 1.0, 1.0),
    ("miss", 0.1, 2.0, 0.2),
    ("neighbour", 1.0, 1.0, 1.0),
    ("neighbour", 1.0, 3.0, 0.2),
    ("steps", 0.5, 1.0, 0.1),
    ("steps", 0.0, 1.0, 0.1),
    ("shovel", 0.5, 1.0, 0.1),
    ("lift", 1.0, 1.0, 0.1),
    ("quiet", 1.0, 1.0, 0.1),
)

QUIET = """
import time
from fieldcore.sensor import Block, defaults
from fieldcore.strike import StrikeDetector
def cost(channels, count):
    strike = StrikeDetector(defaults(channels), channels)
    block = Block(count)
    block.count = count
    for i in range(count):
        for k in range(4):
            block.frames[4 * i + k] = 1000 * (k == 2) + (i * 7 + k) % 5
    best = 1 << 29
    for _ in range(20):
        start = time.ticks_us()
        for _ in range(500):
            strike.feed(block)
            block.first_us = (block.first_us + count * 1250) & 0x3FFFFFFF
        best = min(best, time.ticks_diff(time.ticks_us(), start))
    return best / 500 / count
for count in (32, 64):
    print(count, cost(3, count))
"""


class Score:
    """Findings of one row on one kind of board."""

    def __init__(self, channels: int) -> None:
        self.channels = channels
        self.kinds: Counter[int] = Counter()
        self.felt = 0
        self.errors_ms: dict[int, list[float]] = {SHARP: [], PUSH: []}

    def add(self, found: list[Felt], onset_s: float | None) -> None:
        self.felt += bool(found)
        self.kinds.update(f.kind for f in found)
        if onset_s is not None and found:
            self.errors_ms[found[0].kind].append(1e3 * (found[0].at_s - onset_s))

    def line(self, draws: int) -> str:
        board = "plate" if self.channels & PLATE else "no plate"
        text = f"{board:9}{100 * self.felt / draws:7.2f} %"
        text += f"   sharp {self.kinds[SHARP]:6} push {self.kinds[PUSH]:6}"
        for kind, name in ((SHARP, "sharp"), (PUSH, "push")):
            errors = sorted(self.errors_ms[kind])
            if len(errors) >= 20:
                low, middle, high = (errors[int(q * (len(errors) - 1))] for q in (0.05, 0.5, 0.95))
                text += f"   {name} stamp {low:+.1f} {middle:+.1f} {high:+.1f} ms"
        return text


def row(kind: str, distance_m: float, strength: float, draws: int) -> list[Score]:
    rng = Random(f"{SEED} {kind} {distance_m} {strength}")
    scores = [Score(BOTH), Score(ACCELEROMETER)]
    for number in range(draws):
        rate_hz = RATES_HZ[number % len(RATES_HZ)]
        signal = generate(kind, rng, rate_hz, strength, distance_m)
        for score in scores:
            frames = signal.frames
            if not score.channels & PLATE:
                frames = [(x, y, z, 0) for x, y, z, _ in frames]
            strike = StrikeDetector(defaults(score.channels), score.channels)
            score.add(play(strike, frames, rate_hz), signal.onset_s)
    return scores


def walking() -> None:
    walks = recordings()
    minutes = sum(walk.minutes for walk in walks)
    print(f"\nrecorded walking, {minutes:.1f} min, no plate: false strikes a minute")
    for attenuation_db in (0.0, 10.0, 20.0, 30.0):
        for rate_hz in (800.0, 1600.0):
            kinds: Counter[int] = Counter()
            for walk in walks:
                strike = StrikeDetector(defaults(ACCELEROMETER), ACCELEROMETER)
                found = play(strike, walk.at_rate(rate_hz, attenuation_db), rate_hz)
                kinds.update(f.kind for f in found)
            per_minute = sum(kinds.values()) / minutes
            print(
                f"  {attenuation_db:4.0f} dB down, {rate_hz:5.0f} Hz: {per_minute:.2f}"
                f" (sharp {kinds[SHARP]}, push {kinds[PUSH]})"
            )


def main(draws: int) -> None:
    print(f"{platform.machine()}, Python {platform.python_version()}; {draws} draws; seed {SEED}")
    print("stamps: p5, median, p95 of found less true")
    for kind, distance_m, strength, share in ROWS:
        started_s = time.monotonic()
        count = max(1, int(share * draws))
        scores = row(kind, distance_m, strength, count)
        print(f"\n{kind}, {distance_m} m, strength {strength}, {count} draws", end="")
        print(f" ({time.monotonic() - started_s:.0f} s)")
        for score in scores:
            print("  " + score.line(count), flush=True)
    walking()
    print("\na quiet sample on MicroPython unix (block length, us; best of 20 x 500 blocks)")
    print(run_micropython(QUIET))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
