"""Plain counts: what anybody could count by hand, and how far such a count may be off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from blindfield.scoring.attempts import Attempt
from blindfield.searcher.legs import wilson

LAST = 10


@dataclass(frozen=True)
class Count:
    """`met` of `count`; `low` to `high`: the 95 % interval of the share behind it (Wilson).

    Without any run the share may be anything: 0 to 1.
    """

    met: int
    count: int

    @property
    def low(self) -> float:
        return wilson(self.met, self.count)[0] if self.count else 0.0

    @property
    def high(self) -> float:
        return wilson(self.met, self.count)[1] if self.count else 1.0


def met_of_last(attempts: Sequence[Attempt], last: int = LAST) -> Count:
    """Of the last so many that say something; `attempts` in the order made."""
    judged = [one for one in attempts if one.judged][-last:]
    return Count(sum(one.met for one in judged), len(judged))


@dataclass(frozen=True)
class Steps:
    """`right` of `seen` steps in `runs` runs; what nobody saw is not among them. `by_self`: how
    many of those seen are the searcher's own report."""

    right: int
    seen: int
    runs: int
    by_self: int = 0

    @property
    def share(self) -> float | None:
        return self.right / self.seen if self.seen else None


NO_COUNT, NO_STEPS = Count(0, 0), Steps(0, 0, 0)


def steps_of(attempts: Sequence[Attempt], last: int = LAST) -> Steps:
    """Of the last so many runs in which somebody ticked."""
    seen = [one for one in attempts if one.steps_seen][-last:]
    return Steps(
        right=sum(one.steps_right for one in seen),
        seen=sum(one.steps_seen for one in seen),
        runs=len(seen),
        by_self=sum(one.steps_by_self for one in seen),
    )
