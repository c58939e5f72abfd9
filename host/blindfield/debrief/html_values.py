"""What the page of a run is made from. Values only."""

from __future__ import annotations

from dataclasses import dataclass, replace

from blindfield.debrief.values import TargetStory, Timeline
from blindfield.model.field import Field
from blindfield.scoring.attempts import Attempt
from blindfield.scoring.judge import Verdict
from blindfield.scoring.review import Review
from blindfield.scoring.ticks import Tick
from blindfield.searcher.par import Band
from blindfield.searcher.values import Problem, Trace


@dataclass(frozen=True, kw_only=True)
class ParRow:
    """A leg, a dig or the whole beside the modelled searchers. `yours_s` None: not known; `cut`:
    broken off then. `faster`: how many of the modelled searchers needed less, in words."""

    name: str
    band: Band
    yours_s: float | None = None
    cut: bool = False
    faster: str = ""


@dataclass(frozen=True, kw_only=True)
class Beside:
    """`rows` are empty where there is no par; `said` then says why."""

    rows: tuple[ParRow, ...] = ()
    said: str = ""


@dataclass(frozen=True, kw_only=True)
class Modelled:
    """One modelled search of the same problem; `searcher` says in words who is modelled."""

    problem: Problem
    trace: Trace
    searcher: str


@dataclass(frozen=True, kw_only=True)
class Told:
    """`past`: comparable runs of the same person in the order made, this one last; empty where it
    cannot be compared. `verdict` None: made without a standard. `all_targets`: those that the run
    had nothing to do with are shown as well."""

    timeline: Timeline
    beside: Beside
    review: Review
    ticks: tuple[Tick, ...] = ()
    verdict: Verdict | None = None
    modelled: Modelled | None = None
    past: tuple[Attempt, ...] = ()
    place: Field | None = None
    all_targets: bool = False

    @property
    def shown(self) -> Timeline:
        """Without the targets that are kept back: they are the problems to come."""
        if self.all_targets:
            return self.timeline
        return replace(self.timeline, targets=tuple(filter(concerned, self.timeline.targets)))

    @property
    def kept_back(self) -> int:
        return len(self.timeline.targets) - len(self.shown.targets)


def concerned(target: TargetStory) -> bool:
    """Whether the run had to do with it."""
    return target.in_play or bool(target.strikes) or target.dug_out is not None


def comparable(attempts: tuple[Attempt, ...], run_id: bytes, last: int) -> tuple[Attempt, ...]:
    """Of the runs of one person, in the order made: the `last` ones up to `run_id` that set the
    same task and are not void; empty where that run is none of them."""
    place = next((n for n, one in enumerate(attempts) if one.run_id == run_id), None)
    if place is None:
        return ()
    this = attempts[place]
    alike = [one for one in attempts[: place + 1] if _task(one) == _task(this) and _counts(one)]
    return tuple(alike[-last:])


def _task(one: Attempt) -> tuple[object, ...]:
    return (one.kind, one.work, one.targets, one.limit_s, one.blind, one.aided)


def _counts(one: Attempt) -> bool:
    return one.outcome != "void"
