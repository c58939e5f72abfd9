"""How long each leg of a run took: the search for one target after the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from blindfield.debrief.values import Timeline, middle


@dataclass(frozen=True)
class LegTime:
    """`number` 1: start to first strike, 2: on to the second ...; `cut`: broken off."""

    number: int
    seconds: float
    cut: bool


@dataclass(frozen=True)
class _Find:
    """`ended_s`: when the search could go on; None: the digging was never done."""

    struck_s: float | None
    ended_s: float | None
    by_chance: bool


def leg_times(timeline: Timeline, targets: int) -> list[LegTime]:
    """Each leg from the start or the find before (its being dug out, where that ends it) to the
    strike; last, the one that was broken off when the run ended.

    Left out: a target struck before it sent (found by chance), a strike that was not felt, a leg
    that was begun while others still dug; all of a run that is void or never began.
    """
    if timeline.outcome in (None, "void") or not timeline.started:
        return []
    legs: list[LegTime] = []
    before_s: float | None = 0.0
    finds = _finds(timeline)
    for number, find in enumerate(finds[:targets], 1):
        if _walked_by_signal(find, before_s):
            assert find.struck_s is not None
            assert before_s is not None
            legs.append(LegTime(number, find.struck_s - before_s, False))
        before_s = find.ended_s
    if len(finds) < targets and before_s is not None and timeline.end_run_s is not None:
        searched_s = middle(timeline.end_run_s) - before_s
        if searched_s > 0:
            legs.append(LegTime(len(finds) + 1, searched_s, True))
    return legs


def _finds(timeline: Timeline) -> Sequence[_Find]:
    """In the order struck."""
    digs = timeline.end_on == "dug_out"
    finds = []
    for target in timeline.targets:
        struck_s = None if target.struck is None else middle(target.struck)
        dug_s = None if target.dug_out is None else middle(target.dug_out)
        known = struck_s is not None or (digs and target.in_play and dug_s is not None)
        if known:
            early = any(strike.standing == "early" for strike in target.strikes)
            finds.append(_Find(struck_s, dug_s if digs else struck_s, early))
    return sorted(finds, key=_moment)


def _moment(find: _Find) -> float:
    """The strike, or the digging out where the strike was not felt."""
    moment_s = find.ended_s if find.struck_s is None else find.struck_s
    assert moment_s is not None
    return moment_s


def _walked_by_signal(find: _Find, before_s: float | None) -> bool:
    if find.struck_s is None or before_s is None or find.by_chance:
        return False
    return find.struck_s > before_s
