"""How much a searcher needs a kind, and which target sets and starts are due: the rule of the draw.

The figures here are ours: they make what is practised least and goes worst come first, leave room
between two runs of a kind, and bring nothing back while half of what there is was drawn longer ago.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import TypeVar

from blindfield.drills.drill import Drill
from blindfield.drills.history import History, Practice
from blindfield.model.scenario import Work

SPACE = 2.0  # after so many runs of other kinds a kind has half its weight again
MOST_RECENT = 6

T = TypeVar("T")


def need(practice: Practice) -> float:
    """How much this kind is needed: 2 when it was never tried, 0 when it was the last run.

    (2 / (2 + tried) + (1 - (met + 1) / (judged + 2))) x ago / (ago + SPACE): the first term falls
    with practice, the second is the share not met (rule of succession), the last keeps space.
    """
    little = 2.0 / (2.0 + practice.tried)
    weak = 1.0 - (practice.met + 1.0) / (practice.judged + 2.0)
    spaced = 1.0 if practice.ago is None else practice.ago / (practice.ago + SPACE)
    return (little + weak) * spaced


def kind_shares(drills: Sequence[Drill], work: Work, history: History) -> dict[str, float]:
    """Kind -> how likely it is drawn, of kinds that can all be set; sums to 1.

    A kind waits until the searcher met one of those it comes after, unless none of them can be set
    here.
    """
    here = {drill.kind for drill in drills}
    open_now = [drill for drill in drills if _may_come(drill, here, history)] or list(drills)
    needs = {drill.kind: need(history.of(drill.kind, work)) for drill in open_now}
    total = sum(needs.values())
    if not total:  # one kind only, and it was the last run
        return {kind: 1.0 / len(needs) for kind in needs}
    return {kind: weight / total for kind, weight in needs.items()}


def _may_come(drill: Drill, here: Collection[str], history: History) -> bool:
    before = [kind for kind in drill.after if kind in here]
    return not before or any(history.ever_met(kind) for kind in before)


def freshness(
    things: Sequence[T], last: Mapping[T, int], times: Mapping[T, int], most: int = MOST_RECENT
) -> dict[T, float]:
    """Thing -> weight: 0 for the latest ones, up to half of all and `most`; the others the less,
    the oftener they came before (1 / (1 + times))."""
    used = sorted((thing for thing in things if thing in last), key=lambda thing: last[thing])
    recent = set(used[: min(most, len(things) // 2)])
    return {
        thing: 0.0 if thing in recent else 1.0 / (1.0 + times.get(thing, 0)) for thing in things
    }
