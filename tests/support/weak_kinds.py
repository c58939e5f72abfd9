"""Invented learners with weak kinds, and how many runs they need under a way of choosing drills."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from blindfield.scoring.advise import Done, Way, advise
from blindfield.scoring.counts import Count, Steps
from blindfield.scoring.readiness import Trial, readiness

LIMIT_S = 600.0
READY = 0.9
MOST_RUNS = 400
SITTING_MIN = 75.0
GOOD_STEPS = Steps(40, 42, 6)


@dataclass
class Weak:
    """Every kind is learnt by itself, to a plateau, and a little by all the others; one or two of
    them begin far behind. Times are lognormal with now and then some minutes lost."""

    seed: int
    kinds: int = 5
    made: list[int] = field(init=False)
    rng: np.random.Generator = field(init=False)

    def __post_init__(self) -> None:
        rng = self.rng = np.random.default_rng((self.seed, 31))
        self.made = [0] * self.kinds
        self.first = rng.normal(-0.25, 0.1, self.kinds)
        weak = rng.choice(self.kinds, size=int(rng.integers(1, 3)), replace=False)
        self.first[weak] += rng.uniform(0.4, 0.7, weak.size)
        self.gain = rng.uniform(0.25, 0.4, self.kinds)
        self.gain[weak] += 0.45
        self.pace = rng.uniform(4.0, 9.0, self.kinds)
        self.shared = rng.uniform(0.0, 0.2)
        self.spread = rng.uniform(0.15, 0.25)
        self.lost = rng.uniform(0.0, 0.04)

    def level(self, kind: int) -> float:
        """ln of the usual time over the limit."""
        others = sum(self.made) - self.made[kind]
        done = 1 - math.exp(-(self.made[kind] + self.shared * others) / self.pace[kind])
        return float(self.first[kind] - self.gain[kind] * done)

    def chance(self, kind: int) -> float:
        share = 0.5 * (1 + math.erf(-self.level(kind) / self.spread / math.sqrt(2)))
        return share * (1 - self.lost)

    @property
    def ready(self) -> float:
        """The true chance at a fresh scenario, every kind as likely."""
        return sum(map(self.chance, range(self.kinds))) / self.kinds

    def run(self, kind: int) -> Trial:
        ln_s = self.level(kind) + self.spread * self.rng.normal()
        seconds = LIMIT_S * math.exp(ln_s)
        if self.rng.random() < self.lost:
            seconds += 400.0
        self.made[kind] += 1
        number = sum(self.made)
        if seconds > 1200.0:
            return Trial(number, str(kind), None, 1200.0, False)
        return Trial(number, str(kind), seconds, seconds, seconds <= LIMIT_S)


Chooser = Callable[[Weak, list[Trial]], list[int]]
"""The kinds of the next sitting."""


def runs_until_ready(learner: Weak, choose: Chooser) -> int:
    """Runs until the true chance is 90 %."""
    trials: list[Trial] = []
    while True:
        for kind in choose(learner, trials):
            if learner.ready >= READY or len(trials) >= MOST_RUNS:
                return len(trials)
            trials.append(learner.run(kind))


def advised(learner: Weak, trials: list[Trial]) -> list[int]:
    """What `advise` lays out, from what the runs so far show."""
    kinds = [str(kind) for kind in range(learner.kinds)]
    said = readiness(trials, LIMIT_S, kinds)
    ways = [Way(kind=kind, title=kind, run_s=LIMIT_S) for kind in kinds]
    done = {kind: _done(kind, trials, said.by_kind[kind] if said else None) for kind in kinds}
    sitting = advise(ways, done, technique=GOOD_STEPS, minutes=SITTING_MIN)
    return [int(block.way.kind) for block in sitting.blocks for _ in range(block.runs)]


def _done(kind: str, trials: list[Trial], chance: float | None) -> Done:
    own = [one for one in trials if one.kind == kind]
    last = own[-10:]
    count = Count(sum(one.passed for one in last), len(last))
    return Done(runs=len(own), count=count, chance=chance, ever_met=any(o.passed for o in own))


def at_random(seed: int) -> Chooser:
    """Any kind, each as likely."""
    rng = np.random.default_rng((seed, 5))
    return lambda learner, _trials: [int(rng.integers(learner.kinds)) for _ in range(5)]


def in_turn(learner: Weak, trials: list[Trial]) -> list[int]:
    """One kind after the other."""
    return [(len(trials) + place) % learner.kinds for place in range(5)]
