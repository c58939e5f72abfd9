"""Technique before speed: when the clock is hidden, what is praised, when timed runs are due."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from blindfield.scoring.advise import holds
from blindfield.scoring.attempts import Attempt
from blindfield.scoring.counts import steps_of
from blindfield.scoring.review import Review
from blindfield.scoring.standards import Standard
from blindfield.scoring.steps import all_steps

BACK_UP = "Back up and do it again as often as you like: it counts as right, and as a plus."


def technique_holds(attempts: Sequence[Attempt]) -> bool:
    """Whether timed runs are due: enough runs in which somebody ticked, and nearly all of it right.

    `attempts` in the order made. Void runs say nothing. Nobody's ticks: it is not known to hold.
    """
    return holds(steps_of([one for one in attempts if one.outcome != "void"]))


def shows_clock(standard: Standard | None) -> bool:
    """Whether the searcher may see time pass, and hear the horn at a limit."""
    return standard is None or not standard.technique


def praise(reviewed: Review) -> list[str]:
    """What was stopped, backed up and done right, in sentences; empty without."""
    return list(_praise(reviewed))


def _praise(reviewed: Review) -> Iterator[str]:
    put_right = [one for one in reviewed.pluses if one.value == "put right"]
    for tick in put_right:
        what = all_steps()[tick.step].title + ("" if tick.target is None else f" ({tick.target})")
        yield f"Well done: {what}: stopped, backed up, done right."
    named = {one.step for one in put_right}
    for tick in reviewed.pluses:
        if tick.step not in named:
            yield f"Well done: {all_steps()[tick.step].title.lower()}."
