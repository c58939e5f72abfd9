"""Cases for vectors/strike.py: one signal of every kind on both kinds of board."""

import random
from array import array
from base64 import b64encode

from blindfield.links.sim.strikes import KINDS, Sensor, generate

LONGEST = 2000  # frames: what the small heap of the other interpreter takes


def cases(rng: random.Random) -> list[list[object]]:
    found: list[list[object]] = []
    for kind in KINDS:
        for channels in (1, 3):
            for rate_hz, per_block in ((800.0, 32), (1600.0, 64)):
                sensor = Sensor(channels=channels)
                signal = generate(kind, rng, rate_hz, distance_m=0.5, sensor=sensor)
                values = array("h", [v for frame in signal.frames[:LONGEST] for v in frame])
                text = b64encode(values.tobytes()).decode()
                first_us = rng.randrange(1 << 30)
                found.append([channels, round(1e6 / rate_hz), first_us, per_block, text])
    return found
