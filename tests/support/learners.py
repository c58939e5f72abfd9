"""Invented learners whose times follow no model that the program fits.

Curves: an exponential to a plateau, a sudden insight, straight progress that ends, a forgetful
climb, a random walk, none at all. Times: three shapes of noise, minutes lost now and then, targets
never found, kinds that go well or badly, people who stop when their patience ends. Nothing here is
taken from people.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

LIMIT_S = 600.0
SILENT_S = 1200.0  # nobody searches longer
CURVES = ("plateau", "insight", "straight", "forgetful", "walk", "none")
NOISES = ("normal", "heavy", "skewed")


@dataclass(frozen=True)
class Made:
    """One run as it went: `whole_s` None where it was cut, then `cut_s` says when."""

    kind: int
    whole_s: float | None
    cut_s: float
    outcome: str


@dataclass
class Learner:
    """One invented person, by seed. `practised`: runs made so far."""

    seed: int
    kinds: int = 3
    limit_s: float = LIMIT_S
    first_s: float = 720.0
    kinds_apart: float = 0.22
    phased: bool = False
    practised: int = 0
    rng: np.random.Generator = field(init=False)

    def __post_init__(self) -> None:
        rng = self.rng = np.random.default_rng(self.seed)
        self.curve = CURVES[rng.integers(len(CURVES))]
        self.noise = NOISES[rng.integers(len(NOISES))]
        self.first = rng.normal(math.log(self.first_s), 0.4)
        self.gain = rng.uniform(0.1, 0.9)
        self.pace = rng.uniform(3.0, 25.0)
        self.spread = rng.uniform(0.12, 0.4)
        self.lost_share = rng.uniform(0.0, 0.08)
        self.never_share = rng.uniform(0.0, 0.05)
        self.patience = rng.normal(math.log(950.0), 0.35)
        self.goes_on = rng.uniform(0.4, 1.0)
        self.effect = rng.normal(0.0, self.kinds_apart, self.kinds)
        if rng.random() < 0.3:
            self.effect[rng.integers(self.kinds)] += 0.45
        self.steps = np.cumsum(rng.normal(-0.01, 0.05, 400))

    def level(self, runs: int) -> float:
        """Logarithm of the usual time after so many runs."""
        if self.curve == "plateau":
            done = 1 - math.exp(-runs / self.pace)
        elif self.curve == "insight":
            done = 1 / (1 + math.exp(-(runs - self.pace) / 1.5))
        elif self.curve == "straight":
            done = min(1.0, runs / (2 * self.pace))
        elif self.curve == "forgetful":
            done = 0.6 * (1 - math.exp(-runs / self.pace)) + 0.25 * math.sin(runs / 4.0)
        elif self.curve == "walk":
            return float(self.first + self.steps[runs])
        else:
            done = 0.0
        return float(self.first - self.gain * done)

    def needed_s(self, kind: int, rng: np.random.Generator) -> float:
        """What the search would take if nothing ended it; may be inf."""
        if rng.random() < self.never_share:
            return math.inf
        if self.phased:
            return self._phases_s(kind, rng)
        if self.noise == "normal":
            error = rng.normal()
        elif self.noise == "heavy":
            error = rng.standard_t(3) / math.sqrt(3)
        else:
            error = (rng.gumbel() - 0.5772) / 1.2825
        seconds = math.exp(self.level(self.practised) + self.effect[kind] + self.spread * error)
        if rng.random() < self.lost_share:
            seconds += rng.exponential(300.0)
        return seconds

    def _phases_s(self, kind: int, rng: np.random.Generator) -> float:
        """Two searches of four phases, each a gamma time of its own; a kind costs seconds, not a
        factor; marking fails now and then and costs a backup search."""
        usual_s = math.exp(self.level(self.practised))
        shape = 1 / (2 * self.spread) ** 2
        shares = np.array([0.3, 0.3, 0.15, 0.25] * 2) / 2
        phases_s = rng.gamma(shape, usual_s * shares / shape)
        backup_s = rng.gamma(4.0, 45.0) if rng.random() < 2 * self.lost_share else 0.0
        return float(phases_s.sum()) + 300.0 * max(0.0, self.effect[kind]) + backup_s

    def run(self, kind: int, rng: np.random.Generator | None = None) -> Made:
        """One attempt; `rng` None: the learner's own chance."""
        rng = self.rng if rng is None else rng
        needed_s = self.needed_s(kind, rng)
        patience_s = math.exp(self.patience + 0.3 * rng.normal())
        if rng.random() < 0.03:
            cut_s = rng.uniform(30.0, 500.0)
            if cut_s < needed_s:
                return Made(kind, None, cut_s, "interrupted")
        if patience_s < min(needed_s, self.limit_s):
            return Made(kind, None, patience_s, "stopped")
        if needed_s <= self.limit_s:
            missed = self.phased and rng.random() < 2 * self.lost_share  # a step, not the time
            return Made(kind, needed_s, needed_s, "not_met" if missed else "met")
        overtime_s = min(patience_s, SILENT_S) if rng.random() < self.goes_on else self.limit_s
        if needed_s <= overtime_s:
            return Made(kind, needed_s, needed_s, "not_met")
        return Made(kind, None, overtime_s, "not_met")

    def practise(self, runs: int) -> list[Made]:
        """So many runs, of kinds as chance has it."""
        made = []
        for _ in range(runs):
            made.append(self.run(int(self.rng.integers(self.kinds))))
            self.practised += 1
        return made

    def held_out(self, runs: int) -> list[Made]:
        """Fresh runs, kinds evenly, at the skill of now: nothing is learnt by them. None of them
        interrupted, as readiness leaves those out."""
        rng = np.random.default_rng((self.seed, 99))
        made: list[Made] = []
        while len(made) < runs:
            one = self.run(int(rng.integers(self.kinds)), rng)
            if one.outcome != "interrupted":
                made.append(one)
        return made
