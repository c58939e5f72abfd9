"""Cases for vectors/journal.py: stories of boots, events, acknowledgements and power cuts."""

import random


def step(rng: random.Random) -> list[object]:
    pick = rng.random()
    if pick < 0.6:
        return ["append", rng.choice((2, 3, 4, 5, 6)), rng.randrange(1000)]
    if pick < 0.7:
        return ["ack", rng.randrange(4)]
    if pick < 0.8:
        return ["tidy"]
    if pick < 0.9:
        return ["read", rng.randrange(40), rng.randrange(1, 7)]
    return ["boot", rng.choice((-1, rng.randrange(400)))]


def cases(rng: random.Random) -> list[list[list[object]]]:
    return [
        [["boot", -1], *(step(rng) for _ in range(60)), ["boot", -1], ["read", 0, 30]]
        for _ in range(40)
    ]
