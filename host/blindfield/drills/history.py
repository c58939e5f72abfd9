"""What a searcher practised before, as far as the next draw needs it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from dataclasses import field as given

from blindfield.logbook.past import PastRun
from blindfield.model.run_summary import Outcome
from blindfield.model.scenario import Work

_JUDGING = ("met", "not_met", "stopped")
JUDGED = 10  # the last so many runs of a kind tell how well it goes

TargetSet = frozenset[str]


@dataclass
class Practice:
    """Of one kind: how often it was tried, and of the last JUDGED attempts how many were met.

    `ago`: how many runs were made since (0: it was the last one). Runs that were interrupted or
    void were tried, and judge nobody.
    """

    tried: int = 0
    judged: int = 0
    met: int = 0
    ago: int | None = None


@dataclass(frozen=True)
class History:
    """The runs of one searcher, read once. Practice counts blind runs and runs of somebody who
    knows the places apart; what was drawn on a field counts either way.

    `last_set`, `last_start`: how many runs ago a set or a start was drawn last on this field (0:
    the last run); `times`: how often a set was; `met_before`: (set, start) pairs drawn there.
    """

    runs: int = 0
    runs_here: int = 0
    practice: Mapping[tuple[str, Work], Practice] = given(default_factory=dict)
    last_set: Mapping[TargetSet, int] = given(default_factory=dict)
    last_start: Mapping[str, int] = given(default_factory=dict)
    times: Mapping[TargetSet, int] = given(default_factory=dict)
    met_before: frozenset[tuple[TargetSet, str]] = frozenset()

    def of(self, kind: str, work: Work) -> Practice:
        return self.practice.get((kind, work)) or Practice()

    def ever_met(self, kind: str) -> bool:
        """Whether this kind was met lately, with or without digging."""
        return any(one.met > 0 for (name, _), one in self.practice.items() if name == kind)


NO_HISTORY = History()


def history_of(runs: Iterable[PastRun], *, field_name: str, knows_places: bool = False) -> History:
    """`runs` of one searcher, latest first."""
    practice: dict[tuple[str, Work], Practice] = {}
    last_set: dict[TargetSet, int] = {}
    last_start: dict[str, int] = {}
    times: dict[TargetSet, int] = {}
    met_before: set[tuple[TargetSet, str]] = set()
    ago = here = 0
    for kind, work, field, start, sent, outcome, knows in runs:
        if knows == knows_places:
            known = practice.get((kind, work))
            if known is None:
                known = practice[kind, work] = Practice(ago=ago)
            _practised(known, outcome)
        if sent and field == field_name:
            if sent not in last_set:
                last_set[sent] = here
            if start not in last_start:
                last_start[start] = here
            times[sent] = times.get(sent, 0) + 1
            met_before.add((sent, start))
            here += 1
        ago += 1
    return History(ago, here, practice, last_set, last_start, times, frozenset(met_before))


def _practised(practice: Practice, outcome: Outcome) -> None:
    practice.tried += 1
    if practice.judged < JUDGED and outcome in _JUDGING:
        practice.judged += 1
        practice.met += outcome == "met"
