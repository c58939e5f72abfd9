"""Stories of a whole device: what a host, the ground and bad luck may do to it, in any order."""

import random
from typing import Any

from fieldcore import frame, message, wire

COUNT = 24
STEPS = 30
WRAP_MS = 1 << 30
CUES = (
    [[1, 0, 0, True]],
    [[1, 2000, 0, True], [2, 1500, 0, False], [3, 0, 0, False]],
    [[4, 4000, 7, True], [4, -1, 8, False]],
    [],
)


def cases(rng: random.Random) -> list[dict[str, Any]]:
    """Clocks begin anywhere, some just before the wrap of the raw counter and of the ms."""
    return [
        {
            "first_us": rng.choice([0, (1 << 30) - rng.randrange(1, 30_000_000)]),
            "ms": rng.choice([-1, WRAP_MS - rng.randrange(1, 20_000)]),
            "story": [
                ["load", 0, 1, 20_000, rng.choice(CUES)],
                ["start", 0, rng.choice([1, 1500, 3000]), rng.randrange(1000), 0],
                *(_step(rng) for _ in range(STEPS)),
            ],
        }
        for _ in range(COUNT)
    ]


def _step(rng: random.Random) -> list[Any]:
    count = rng.choice([0, 0, 0, 1])
    slot = rng.choice([0, 0, 1, 7, 9])
    steps: list[list[Any]] = [
        ["pass", rng.randrange(1, 9_000_000)],
        ["pass", rng.randrange(1, 1_500_000)],
        ["freeze", rng.choice([10_000, 70_000, 3_000_000])],
        ["strike"],
        rng.choice([["reboot"], ["dig_out"], ["knock"], ["air"], ["pass", 30_000_000]]),
        ["load", slot, rng.randrange(1, 4), rng.choice([5_000, 20_000]), rng.choice(CUES)],
        ["start", slot, rng.choice([0, 1, 700, 86_400_001]), rng.randrange(1000), 0],
        ["ask", wire.STATUS],
        ["ask", wire.REVISE, slot, rng.random() < 0.5, count],
        ["ask", wire.WORD, "x:" + b"run-0001".hex(), rng.choice([7, 8]), count],
        ["ask", rng.choice([wire.CANCEL, wire.END, wire.CLEAR]), slot],
        ["ask", wire.FETCH, 0, 0],
        ["ask", wire.REARM, count],
        ["ask", wire.SET_SETTING, rng.randrange(16), rng.randrange(100)],
        ["ask", wire.SOUND, 1, 0, rng.randrange(WRAP_MS), 0],
        ["wire", _noise(rng).hex()],
    ]
    return rng.choice(steps)


def _noise(rng: random.Random) -> bytes:
    """Forged, foreign and broken frames."""
    forged = message.pack(wire.REQUEST, rng.randrange(99), b"\x81\x10", rng.randbytes(8))
    data = rng.choice(
        [
            frame.encode(1, forged),
            frame.encode(1, bytes((0x81, 0x18, 77))),
            frame.encode(1, rng.randbytes(9)),
            rng.randbytes(20),
            frame.encode(0, message.pack(wire.DONE)),
        ]
    )
    return data + b"\0"
