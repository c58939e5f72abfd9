"""Clocks begun anywhere, often just before a wrap, read now and then."""

import random
from typing import Any

MASK = 0x3FFFFFFF


def case(rng: random.Random) -> list[Any]:
    start = [rng.choice((0, 254, 255)), rng.choice((0, 300_000, MASK - 1000, MASK))]
    ticks = rng.choice((0, MASK - 1_000_000, rng.randrange(MASK)))
    readings = [ticks]
    for _ in range(8):
        ticks = (ticks + rng.choice((1, 999, 77_777, 300_000_000))) & MASK
        readings.append(ticks)
    stamps = [(ticks + rng.randrange(-300_000_000, 60_000_000)) & MASK for _ in range(3)]
    ms = rng.choice((0, 1, MASK, rng.randrange(MASK)))
    add_ms, add_us = rng.randrange(-600_000, 600_000), rng.randrange(-2_000_000, 2_000_000)
    return [start, readings, stamps, [rng.randrange(256), ms, rng.randrange(1000), add_ms, add_us]]


def cases(rng: random.Random) -> list[Any]:
    return [case(rng) for _ in range(200)]
