"""Draws a scenario: which targets, in which order, from which start point and direction; by seed.

A draw by seed knows no history, so that a seed met once gives the same problem again. `choice`
draws for a searcher: it looks for a seed whose draw is what they need.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from blindfield.drills.catalogue import DRILLS
from blindfield.drills.cues import Times, cues_of, times_of
from blindfield.drills.drill import Aid, Drill
from blindfield.drills.feasible import Ground, ground_of, may_wait, refuse, sets_of, why_not
from blindfield.drills.geometry import ways_in
from blindfield.model.field import Field, StartPoint, Target
from blindfield.model.scenario import (
    Cue,
    EndOn,
    Part,
    Scenario,
    Start,
    WordRule,
    WordWhen,
    Work,
)

ON_US = 82_000  # inside the safe set of EN 300 718 and EN 282
PERIOD_RANGE_US = (900_000, 1_100_000)  # spread among real transceivers: common practice, no source
OVERTIME_S = 300.0
LONGEST_S = 20 * 60.0
COMMON_PERIOD_US = 1_000_000

Pulses = Literal["own", "together", "apart"]
_WHEN: dict[str, WordWhen] = {"first find": "first_find", "word": "instructor"}


def draw(
    field: Field,
    drill: Drill,
    *,
    seed: int,
    time_limit_s: float,
    end_on: EndOn = "strike",
    pulses: Pulses = "own",
    alive: Sequence[str] | None = None,
    ground: Ground | None = None,
    aids: Iterable[Aid] = (),
    others: Iterable[Drill] = DRILLS.values(),
) -> Scenario:
    """A scenario on `field`, the same for the same seed and targets.

    `pulses`: "own", each target its own period and phase, as real transceivers; "together", one
    period and no phase, so that the pulses of those in play coincide for the whole run; "apart",
    one period, phases spread evenly; a drill's own rhythm wins. `alive`: names of the targets that
    may be used (default: all that are buried); `ground` says the same and more. Raises NotReady,
    with the nearest of `others` that can be set, when this one cannot.
    """
    ground = ground or ground_of(field, alive)
    work = work_of(drill, end_on)
    if why_not(ground, drill, work):
        raise refuse(ground, drill, work, others)
    rng = random.Random(seed)
    picked = pick(ground, drill, work, rng)
    aids = tuple(aids)
    plan = _Plan(
        drill=drill,
        chosen=picked.order,
        pulses=_rhythm(drill, pulses, aids),
        times=times_of(drill, time_limit_s, random.Random(f"times {seed}")),
        aids=aids,
    )
    place = picked.start
    ways = ways_in(place, field.outline_m)
    return Scenario(
        kind=drill.kind,
        title=drill.title,
        seed=seed,
        field=field.name,
        time_limit_s=time_limit_s,
        end_s=min(LONGEST_S, time_limit_s + OVERTIME_S),
        end_on="strike" if work == "search only" else "dug_out",
        start=Start(place.name, place.x_m, place.y_m),
        targets=tuple(plan.part(target, rng) for target in ground.present),
        words=(WordRule(plan.times.word, _WHEN[drill.second]),) if drill.needs_word else (),
        work=work,
        until=drill.until,
        told=drill.told,
        marking=drill.marking,
        aids=tuple(aid.name for aid in aids),
        direction_deg=random.Random(f"direction {seed}").choice(ways) if ways else None,
        briefing=drill.briefing,
        purpose=drill.purpose,
        watch=drill.watch,
    )


def work_of(drill: Drill, end_on: EndOn) -> Work:
    """What is to be done; a drill that is only for digging is that."""
    if drill.work == ("dig only",):
        return "dig only"
    return "search and dig" if end_on == "dug_out" else "search only"


@dataclass(frozen=True)
class Pick:
    """What a seed decides first: the targets, the first to send first, and the start point."""

    order: tuple[str, ...]
    start: StartPoint


def pick(ground: Ground, drill: Drill, work: Work, rng: random.Random) -> Pick:
    """One draw of targets and start, each allowed set and each start as likely as any other."""
    sets = sets_of(ground, drill, work)
    numbers = [number for number in drill.targets if number in sets]
    number = numbers[0] if len(numbers) == 1 else rng.choice(numbers)
    allowed = sets[number]
    names = [target.name for target in ground.pool(drill, work)] if number else []
    while True:
        chosen = rng.sample(names, number)
        if drill.needs_word and not all(may_wait(ground, name) for name in chosen[1:]):
            continue  # who cannot be told a word is the one that sends from the start
        if frozenset(chosen) in allowed:
            break
    return Pick(tuple(chosen), rng.choice(ground.place.start_points))


def _rhythm(drill: Drill, pulses: Pulses, aids: Iterable[Aid]) -> Pulses:
    if drill.pulses == "together":
        return "together"
    return "apart" if any(aid.effect == "pulses apart" for aid in aids) else pulses


@dataclass(frozen=True, kw_only=True)
class _Plan:
    drill: Drill
    chosen: Sequence[str]
    pulses: Pulses
    times: Times
    aids: Sequence[Aid]

    def part(self, target: Target, rng: random.Random) -> Part:
        period_us = rng.randrange(*PERIOD_RANGE_US, 100)
        phase_us = rng.randrange(0, period_us, 100)
        in_play = target.name in self.chosen
        if self.pulses != "own" and in_play:
            period_us = COMMON_PERIOD_US
            share = self.chosen.index(target.name) if self.pulses == "apart" else 0
            phase_us = share * COMMON_PERIOD_US // len(self.chosen)
        return Part(
            name=target.name,
            device_id=target.device_id.hex(),
            x_m=target.x_m,
            y_m=target.y_m,
            depth_m=target.depth_m,
            in_play=in_play,
            period_us=period_us,
            on_us=ON_US,
            phase_us=phase_us,
            cues=self._cues(target.name) if in_play else (),
        )

    def _cues(self, name: str) -> tuple[Cue, ...]:
        rests = any(aid.effect == "struck rests" for aid in self.aids)
        return cues_of(self.drill, self.chosen.index(name), self.times, struck_rests=rests)
