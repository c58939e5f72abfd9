"""What a run is at any moment, and what it asks to be done: the values of the reducer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from blindfield.model.run_summary import Outcome
from blindfield.model.scenario import Scenario
from blindfield.model.span import Span

Phase = Literal["drawn", "running", "overtime", "ending", "closed"]


@dataclass(frozen=True)
class SayWord:
    word: int
    targets: tuple[str, ...]
    cause: str = "first find"


@dataclass(frozen=True)
class Sound:
    """A pattern of the post's horn and light."""

    pattern: int


@dataclass(frozen=True)
class Reload:
    """The device came back with a new clock: give it the next revision."""

    device: str


@dataclass(frozen=True)
class EndRun:
    reason: str


@dataclass(frozen=True)
class SilenceAll:
    cause: str


Command = SayWord | Sound | Reload | EndRun | SilenceAll

THE_PACK = "the pack"
"""What a run that is only for digging has found when it is done."""

HORN_START, HORN_LIMIT, HORN_FOUND, HORN_CANNOT_START = 1, 2, 3, 5


@dataclass(frozen=True)
class TargetView:
    """What the run knows of one target. Times are run times."""

    name: str
    in_play: bool
    struck: Span | None = None
    dug_out: Span | None = None
    sends: bool = False
    ended: bool = False


@dataclass(frozen=True)
class RunState:
    """`finds` in the order found; `outcome` is fixed at the end, `verdict_met` at the limit."""

    run_id: bytes = b""
    scenario: Scenario | None = None
    field_name: str = ""
    phase: Phase = "drawn"
    started_utc: str | None = None
    start_s: Span | None = None
    targets: tuple[TargetView, ...] = ()
    said: tuple[int, ...] = ()
    flags: tuple[str, ...] = ()
    unheard: tuple[str, ...] = ()  # at the close: nobody knows what became of them
    stopped: bool = False
    knocked: bool = False  # it was the knock pattern on a found target that stopped it
    interrupted: bool = False
    hushed_by_air: bool = False  # interrupted by an advertisement: a knock elsewhere may explain it
    void: bool = False
    done: Span | None = None  # run time at which somebody said that the work is done
    outcome: Outcome | None = None

    def view(self, name: str) -> TargetView | None:
        return next((view for view in self.targets if view.name == name), None)

    @property
    def started(self) -> bool:
        return self.start_s is not None

    @property
    def finds(self) -> tuple[tuple[str, Span], ...]:
        """(name, run time) of every target found, in order."""
        found = [(v.name, span) for v in self.targets if (span := self.found(v)) is not None]
        if self.digs_only and self.done is not None:
            found.append((THE_PACK, self.done))
        return tuple(sorted(found, key=lambda row: best_or_latest(row[1])))

    def found(self, view: TargetView) -> Span | None:
        """Run time at which this target counted as found."""
        if not view.in_play or self.scenario is None:
            return None
        return view.struck if self.scenario.end_on == "strike" else view.dug_out

    @property
    def digs_only(self) -> bool:
        return self.scenario is not None and self.scenario.work == "dig only"

    @property
    def until_done(self) -> bool:
        """Whether the run goes on until somebody says that the work is done."""
        return self.scenario is not None and self.scenario.until == "done"

    @property
    def to_find(self) -> int:
        return 1 if self.digs_only else sum(view.in_play for view in self.targets)

    @property
    def all_found(self) -> bool:
        return self.to_find > 0 and len(self.finds) == self.to_find

    @property
    def met(self) -> bool:
        """All found, and said to be done where that is needed, within the time limit, by the best
        estimate of each time."""
        limit_s = self.scenario.time_limit_s if self.scenario else 0.0
        if self.until_done and (self.done is None or best_or_latest(self.done) > limit_s):
            return False
        return self.all_found and all(best_or_latest(span) <= limit_s for _, span in self.finds)


def best_or_latest(span: Span) -> float:
    return span.high if span.best is None else span.best  # never better than it may have been
