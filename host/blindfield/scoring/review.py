"""The ticks of a run held against the steps that belong to it: right, missed, unseen, in order."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from blindfield.scoring.steps import PHASES, Circumstances, Phase, Step, all_steps, belongs, pairs
from blindfield.scoring.ticks import Tick

State = Literal["right", "put right", "missed", "not seen", "not applicable"]

ORDER_SLACK_S = 2.0
"""A thumb on a screen is no clock: ticks closer than this have no order. Ours."""


@dataclass(frozen=True, kw_only=True)
class Row:
    """One step of the run, or of the target named, and what is known of it. `tick` None: nobody
    saw it."""

    step: Step
    target: str | None
    state: State
    tick: Tick | None = None


@dataclass(frozen=True, kw_only=True)
class OrderFault:
    """`late` had to come no later than `early`, and came after it."""

    late: Tick
    early: Tick


@dataclass(frozen=True, kw_only=True)
class Review:
    """`rows` in the order of a search. `pluses`: what deserves praise. `unseen`: phases of which
    nobody ticked anything; `self_only`: phases that only the searcher reports."""

    rows: tuple[Row, ...]
    faults: tuple[OrderFault, ...]
    pluses: tuple[Tick, ...]
    unseen: tuple[Phase, ...]
    self_only: tuple[Phase, ...]

    def of(self, step: str) -> tuple[Row, ...]:
        return tuple(row for row in self.rows if row.step.name == step)

    def count(self, *states: State) -> int:
        return sum(row.state in states for row in self.rows if not row.step.plus)

    @property
    def seen(self) -> int:
        return self.count("right", "put right", "missed")


def review(
    circumstances: Circumstances, ticks: Sequence[Tick], targets: Sequence[str] = ()
) -> Review:
    """`targets`: those in play, in the order found as far as they were.

    A tick of a step per target that names none and no time was said of every target.
    """
    said = list(_spread(ticks, targets))
    rows = tuple(_rows(circumstances, said, targets))
    return Review(
        rows=rows,
        faults=tuple(_faults(said)),
        pluses=tuple(one for one in said if _is_plus(one)),
        unseen=tuple(_phases(rows, lambda seen: not seen)),
        self_only=tuple(
            _phases(rows, lambda seen: bool(seen) and all(one.self_report for one in seen))
        ),
    )


def _spread(ticks: Iterable[Tick], targets: Sequence[str]) -> Iterator[Tick]:
    for tick in ticks:
        of_target = all_steps()[tick.step].per == "target"
        if of_target and tick.target is None and (tick.run_s is None or len(targets) == 1):
            yield from (replace(tick, target=name) for name in targets)
        else:
            yield tick


def _is_plus(tick: Tick) -> bool:
    return tick.value == "put right" or (all_steps()[tick.step].plus and tick.right)


def _rows(
    circumstances: Circumstances, said: Sequence[Tick], targets: Sequence[str]
) -> Iterator[Row]:
    for step in all_steps().values():
        own = [tick for tick in said if tick.step == step.name]
        expected = belongs(step, circumstances) is True and not step.plus
        names: list[str | None] = [None] if step.per == "run" else list(targets)
        by_target = {tick.target: tick for tick in own}
        for name in names:
            tick = by_target.pop(name, None)
            if tick is not None or expected:
                yield Row(step=step, target=name, state=_state(tick), tick=tick)
        for tick in by_target.values():  # of a target that is not known
            yield Row(step=step, target=tick.target, state=_state(tick), tick=tick)


def _state(tick: Tick | None) -> State:
    states: Mapping[str, State] = {
        "done": "right",
        "put right": "put right",
        "missed": "missed",
        "not applicable": "not applicable",
    }
    return "not seen" if tick is None else states[tick.value]


def _phases(rows: Sequence[Row], like: Callable[[list[Tick]], bool]) -> Iterator[Phase]:
    """Phases with steps that belong to the run, whose ticks are as `like` says."""
    for phase in PHASES:
        own = [row for row in rows if row.step.phase == phase and not row.step.plus]
        if own and like([row.tick for row in own if row.tick is not None]):
            yield phase


def _faults(said: Sequence[Tick]) -> Iterator[OrderFault]:
    timed = [tick for tick in said if tick.run_s is not None and tick.value == "done"]
    for first, second in pairs(all_steps().values()):
        for early in (tick for tick in timed if tick.step == second):
            late = next(
                (
                    tick
                    for tick in timed
                    if tick.step == first and _about_one(tick, early) and _after(tick, early)
                ),
                None,
            )
            if late is not None:
                yield OrderFault(late=late, early=early)
                break  # one word on each pair


def _about_one(one: Tick, other: Tick) -> bool:
    """Whether an order between the two can be asked: not of two different targets."""
    return one.target is None or other.target is None or one.target == other.target


def _after(late: Tick, early: Tick) -> bool:
    assert late.run_s is not None
    assert early.run_s is not None
    return late.run_s > early.run_s + ORDER_SLACK_S
