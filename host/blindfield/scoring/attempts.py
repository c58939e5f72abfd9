"""One closed run as statistics need it: who, what, how long, and whether it counts."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from blindfield.model.run_summary import Outcome
from blindfield.model.scenario import Work

LEAST_COUNTED = 8
"""Below so many runs nothing is said of the next one."""


@dataclass(frozen=True)
class Timed:
    """Seconds that a part took; `cut`: it was broken off then, and would have taken longer."""

    seconds: float
    cut: bool = False


@dataclass(frozen=True, kw_only=True)
class Attempt:
    """`number`: the logbook's, in the order in which runs were made, whatever the clock said.

    `legs`: start to first strike, first find to second strike ...; the last one cut where the run
    ended on it; None where one was not felt or found by chance. `whole`: to the last find; None
    where nothing of it is known. `digs`: strike to dug out. `par_legs_s`, `par_whole_s`: median of
    the modelled searchers on the same problem, where that was computed. `depth_m`: least and most
    of those that sent, None where not recorded. `repeated`: the same problem was drawn for this
    searcher before, so that it was not blind. `aided`: with an aid for beginners. `failed`: names
    of the standards that it fails beside its time (a step, a stray). `steps_right` of `steps_seen`
    ticked, `steps_by_self` of them by the searcher; `technique`: a run without a clock.
    """

    number: int
    run_id: bytes
    utc: str
    searcher: str
    kind: str
    work: Work
    outcome: Outcome
    targets: int
    standard: str | None = None
    limit_s: float | None = None
    field_name: str = ""
    knows_places: bool = False
    repeated: bool = False
    aided: bool = False
    failed: tuple[str, ...] = ()
    technique: bool = False
    depth_m: tuple[float, float] | None = None
    legs: tuple[Timed | None, ...] = ()
    whole: Timed | None = None
    digs: tuple[Timed, ...] = ()
    par_legs_s: tuple[float | None, ...] = ()
    par_whole_s: float | None = None
    steps_right: int = 0
    steps_seen: int = 0
    steps_by_self: int = 0

    @property
    def blind(self) -> bool:
        return not (self.knows_places or self.repeated)

    @property
    def judged(self) -> bool:
        """Whether it says that its standard was met or not: void and interrupted runs do not."""
        return self.outcome in ("met", "not_met", "stopped")

    @property
    def met(self) -> bool:
        return self.outcome == "met"

    @property
    def search(self) -> Timed | None:
        """All legs together, without the digging between; None where one of them is not known."""
        known = [leg for leg in self.legs if leg is not None]
        if not known or len(known) < len(self.legs):
            return None
        if len(known) < self.targets and not known[-1].cut:
            return None
        return Timed(sum(leg.seconds for leg in known), known[-1].cut)


@dataclass(frozen=True, kw_only=True)
class Goal:
    """What readiness is asked for: a standard as statistics need it.

    `work`: "search and dig" where the buried have to be dug out. `depth_m`: the band of depths of
    the standard. `kinds`: what a fresh scenario of it may be, each as likely as the others.
    """

    name: str
    title: str
    work: Work
    targets: int
    limit_s: float
    depth_m: tuple[float, float]
    kinds: tuple[str, ...] = ()


def counts_towards(goal: Goal, attempt: Attempt) -> bool:
    """Whether an attempt may count at all: not void, without aids, number and depth of the
    standard."""
    if attempt.outcome == "void" or attempt.technique or attempt.aided:
        return False
    if attempt.targets != goal.targets:
        return False
    return _same_standard(goal, attempt) and _standard_depth(goal, attempt)


def as_judged(goal: Goal, attempt: Attempt) -> Attempt:
    """The attempt by the standard of the goal: not met where it fails that beside its time."""
    failed = attempt.met and goal.name in attempt.failed
    return replace(attempt, outcome="not_met") if failed else attempt


def _same_standard(goal: Goal, attempt: Attempt) -> bool:
    """A run without a standard counts where its limit was that of the goal."""
    if attempt.standard is not None:
        return attempt.standard == goal.name
    return attempt.limit_s == goal.limit_s


def _standard_depth(goal: Goal, attempt: Attempt) -> bool:
    """A depth that was not recorded cannot be held to be standard."""
    if attempt.depth_m is None:
        return False
    (least, most), (low, high) = attempt.depth_m, goal.depth_m
    return low <= least and most <= high


def blind_ones(attempts: Iterable[Attempt]) -> list[Attempt]:
    return [one for one in attempts if one.blind]


def knowing_ones(attempts: Iterable[Attempt]) -> list[Attempt]:
    """Of somebody who knows where the targets lie: a figure of their own."""
    return [one for one in attempts if one.knows_places]


def clock_set_back(attempts: Sequence[Attempt]) -> list[tuple[Attempt, Attempt]]:
    """Neighbours, in the order made, of which the later one carries the earlier time."""
    return [(before, after) for before, after in pairwise(attempts) if before.utc > after.utc]
