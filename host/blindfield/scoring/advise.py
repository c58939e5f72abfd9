"""What to practise next: drills, how many, in what order, with the clock or without, and why.

The rule, all of it ours. What goes worst and was practised least comes first; technique before
speed: a run has a clock only once technique holds. The same past gives the same advice.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from blindfield.model.errors import NotReady
from blindfield.scoring.counts import NO_COUNT, NO_STEPS, Count, Steps
from blindfield.scoring.rotation import roles_of

Mode = Literal["technique", "timed"]

HOLDS_SHARE = 0.85  # of the steps seen
HOLDS_RUNS = 3  # in which somebody ticked
MOST_OF_A_KIND = 3  # in one sitting: more is more of the same
BETWEEN_S = 240.0  # back to the start, the next problem, everybody silent and ready
PUT_BACK_S = 600.0  # one hole, by one shoveller
LEARNS = 0.85  # of what is missing, left after one more run: for the plan of one sitting only


@dataclass(frozen=True, kw_only=True)
class Way:
    """A kind that could be practised here. `run_s`: what one run of it usually takes. `holes`: dug
    in each. `after`: it waits until one of these was met. `needs_word`: somebody else must give a
    word in the middle of it."""

    kind: str
    title: str
    run_s: float
    holes: int = 0
    after: tuple[str, ...] = ()
    needs_word: bool = False


@dataclass(frozen=True, kw_only=True)
class Done:
    """What somebody did of one kind. `runs` made, `count` of the last of them; `chance` of passing
    as readiness gives it, None where too little is known. `steps`: of this kind."""

    runs: int = 0
    count: Count = NO_COUNT
    chance: float | None = None
    steps: Steps = NO_STEPS
    ever_met: bool = False

    @property
    def expected(self) -> float:
        """The chance, or what the count says of it (rule of succession)."""
        if self.chance is not None:
            return self.chance
        return (self.count.met + 1.0) / (self.count.count + 2.0)


@dataclass(frozen=True, kw_only=True)
class Block:
    """`runs` of one kind, one after the other; `seconds` for all of them, with what lies between.
    `done`: what was before, which is the reason."""

    way: Way
    runs: int
    mode: Mode
    seconds: float
    done: Done


@dataclass(frozen=True, kw_only=True)
class Sitting:
    """`blocks` in their order; `seconds` for the whole. `roles` of those who wait, who change
    places after each run; `turns`: how many search in turn. `technique`: of all kinds, which
    decides on the clock."""

    blocks: tuple[Block, ...]
    seconds: float
    roles: tuple[str, ...]
    turns: int
    technique: Steps


def holds(steps: Steps) -> bool:
    """Whether technique holds: enough seen, and nearly all of it right."""
    return steps.runs >= HOLDS_RUNS and (steps.share or 0.0) >= HOLDS_SHARE


def need(done: Done) -> float:
    """How much a kind is needed: the share not passed, more while it was practised little."""
    return (1.0 - done.expected) * (1.0 + 2.0 / (2.0 + done.runs)) + 0.3 / (1.0 + done.runs)


def advise(
    ways: Sequence[Way],
    done: Mapping[str, Done],
    *,
    technique: Steps,
    minutes: float,
    people: int = 1,
) -> Sitting:
    """The next sitting of somebody who is there with `people` - 1 others, who search in turn.

    Raises NotReady where nothing can be practised so, or the time is too short for one run.
    """
    open_now = _open(ways, done, people)
    if not open_now:
        raise NotReady(
            "there is no drill that could be set here with so many people.",
            remedy="Bury and switch on more, or bring somebody who gives the word.",
        )
    chosen = _chosen(open_now, done, 60.0 * minutes / people, people)
    if not chosen:
        least_min = math.ceil(min(_run_s(way, people) for way in open_now) * people / 60.0)
        raise NotReady(
            f"{minutes:g} min are too short for a run of everybody.",
            remedy=f"The shortest takes {least_min} min.",
        )
    blocks = [_block(way, runs, done, technique, people) for way, runs in chosen]
    blocks.sort(key=lambda one: one.mode == "timed")  # a stable sort: the weakest stay first
    return Sitting(
        blocks=tuple(blocks),
        seconds=people * sum(one.seconds for one in blocks),
        roles=tuple(dict.fromkeys(roles_of(people)[1:])),
        turns=people,
        technique=technique,
    )


def _open(ways: Sequence[Way], done: Mapping[str, Done], people: int) -> list[Way]:
    """What may come: nothing that waits for a kind which can be set here and was never met."""
    here = {way.kind for way in ways}
    met = {kind for kind, one in done.items() if one.ever_met}
    able = [way for way in ways if people > 1 or not way.needs_word]
    ready = [way for way in able if not (before := here.intersection(way.after)) or before & met]
    return ready or able


def _chosen(
    ways: Sequence[Way], done: Mapping[str, Done], left_s: float, people: int
) -> list[tuple[Way, int]]:
    """The kind that is needed most, again and again as the time lasts; in the order first chosen.

    Each run is taken to help as runs do, or the first kind would fill the sitting.
    """
    state = {way.kind: done.get(way.kind) or Done() for way in ways}
    runs: dict[str, int] = {}
    while True:
        able = [
            way
            for way in ways
            if _run_s(way, people) <= left_s and runs.get(way.kind, 0) < MOST_OF_A_KIND
        ]
        if not able:
            break
        way = max(able, key=lambda one: need(state[one.kind]))  # the first of equals
        runs[way.kind] = runs.get(way.kind, 0) + 1
        left_s -= _run_s(way, people)
        before = state[way.kind]
        chance = 1.0 - LEARNS * (1.0 - before.expected)
        state[way.kind] = replace(before, runs=before.runs + 1, chance=chance)
    by_kind = {way.kind: way for way in ways}
    return [(by_kind[kind], count) for kind, count in runs.items()]


def _run_s(way: Way, people: int) -> float:
    """One run with what belongs to it; everybody who is there shovels."""
    return way.run_s + BETWEEN_S + way.holes * PUT_BACK_S / people


def _block(way: Way, runs: int, done: Mapping[str, Done], technique: Steps, people: int) -> Block:
    before = done.get(way.kind) or Done()
    own = before.steps if before.steps.runs >= HOLDS_RUNS else technique
    mode: Mode = "timed" if before.runs and holds(own) else "technique"
    seconds = runs * _run_s(way, people)
    return Block(way=way, runs=runs, mode=mode, seconds=seconds, done=before)
