"""Whether a run met a standard, and what cannot be said of it.

Where a time stands within its own uncertainty of the limit, the best estimate decides and that is
said. Times are those of the run's clock, which begins at the start.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Literal

from blindfield.model.run_summary import Outcome
from blindfield.model.scenario import Work
from blindfield.model.span import Span
from blindfield.scoring.review import Review, Row, review
from blindfield.scoring.standards import Standard
from blindfield.scoring.steps import Circumstances
from blindfield.scoring.ticks import Tick

Word = Literal[
    "met",
    "not met",
    "search part met, digging not tested",
    "search part not met, digging not tested",
    "met as far as seen",
    "not this standard",
    "counts neither way",
]


@dataclass(frozen=True, kw_only=True)
class Found:
    """A target in play. Run times, None where it was not struck or not dug out."""

    target: str
    struck: Span | None = None
    dug_out: Span | None = None


@dataclass(frozen=True, kw_only=True)
class Performance:
    """A closed run as a standard sees it, corrections applied.

    `found`: every target in play. `strays`: strikes on what did not send, and holes dug there, in
    run time. `done`: when somebody said that the ground is clear, where the run waited for it.
    """

    outcome: Outcome
    started: bool
    work: Work
    found: tuple[Found, ...]
    depths_m: tuple[float, ...] = ()
    area_m: tuple[float, float] | None = None
    told: bool = True
    marking: bool = True
    aided: bool = False
    knows_places: bool = False
    strays: tuple[Span, ...] = ()
    until_done: bool = False
    done: Span | None = None
    end_run_s: float | None = None


@dataclass(frozen=True, kw_only=True)
class Budget:
    """The time for searching where digging is not timed: the limit less what `holes` of this
    searcher's own digs take, at the median of `digs` of them; None where none is known."""

    limit_s: float
    holes: int
    digs: int
    dig_s: float | None

    @property
    def seconds(self) -> float | None:
        """Never less than nothing."""
        return None if self.dig_s is None else max(0.0, self.limit_s - self.holes * self.dig_s)


@dataclass(frozen=True, kw_only=True)
class EarlyFail:
    """A rule of the standard that ended it; `run_s` None: nobody knows when."""

    what: str
    run_s: float | None = None
    target: str | None = None


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """`word` is the verdict, `because` says why in sentences. `beside`: where the run was not quite
    the standard's. `missing` and `not_seen`: required steps. `close`: a time that decides lies
    within its own uncertainty of the limit."""

    standard: Standard
    word: Word
    because: tuple[str, ...]
    beside: tuple[str, ...]
    early_fails: tuple[EarlyFail, ...]
    missing: tuple[Row, ...]
    not_seen: tuple[Row, ...]
    budget: Budget | None
    in_time: int
    close: bool
    review: Review

    @property
    def met(self) -> bool:
        return self.word == "met"


def judge(
    standard: Standard,
    run: Performance,
    ticks: Sequence[Tick] = (),
    *,
    own_digs_s: Sequence[float] = (),
) -> Verdict:
    """`own_digs_s`: how long this searcher took for each hole, strike to dug out, in other runs."""
    reviewed = review(_circumstances(standard, run), ticks, _in_order(run))
    misfits = tuple(_misfits(standard, run))
    fails = tuple(_early_fails(standard, run, reviewed))
    required = [row for name in standard.required_steps for row in reviewed.of(name)]
    missing = tuple(row for row in required if row.state == "missed")
    not_seen = tuple(row for row in required if row.state == "not seen")
    untested = standard.digging and run.work == "search only"
    budget = _budget(standard, own_digs_s) if untested else None
    moments = _moments(standard, run, untested)
    limit_s = standard.limit_s if budget is None else _search_limit_s(budget)
    in_time = sum(_in_time(one, limit_s) for one in moments)
    all_in_time = in_time == standard.targets and _done_in_time(run, limit_s)
    word = _word(run, misfits, bool(fails or missing), bool(not_seen), all_in_time, untested)
    return Verdict(
        standard=standard,
        word=word,
        because=tuple(_because(run, misfits, in_time, standard, moments)),
        beside=tuple(_beside(standard, run)),
        early_fails=fails,
        missing=missing,
        not_seen=not_seen,
        budget=budget,
        in_time=in_time,
        close=any(_close(one, limit_s) for one in moments),
        review=reviewed,
    )


def _circumstances(standard: Standard, run: Performance) -> Circumstances:
    return Circumstances(
        targets=len(run.found),
        work=run.work,
        marking=run.marking,
        switch_off=standard.switch_off,
    )


def _in_order(run: Performance) -> list[str]:
    def moment(one: Found) -> float:
        known = one.struck or one.dug_out
        return float("inf") if known is None else best_or_latest(known)

    return [one.target for one in sorted(run.found, key=moment)]


def best_or_latest(span: Span) -> float:
    """Never better than it may have been."""
    return span.high if span.best is None else span.best


def _moments(standard: Standard, run: Performance, untested: bool) -> list[Span]:
    dug = standard.digging and not untested
    moments = [one.dug_out if dug else one.struck for one in run.found]
    return [one for one in moments if one is not None]


def _in_time(span: Span, limit_s: float | None) -> bool:
    return limit_s is None or best_or_latest(span) <= limit_s


def _close(span: Span, limit_s: float | None) -> bool:
    return limit_s is not None and span.low <= limit_s < span.high


def _done_in_time(run: Performance, limit_s: float | None) -> bool:
    if not run.until_done:
        return True
    return run.done is not None and _in_time(run.done, limit_s)


def _budget(standard: Standard, own_digs_s: Sequence[float]) -> Budget | None:
    if standard.limit_s is None:
        return None
    return Budget(
        limit_s=standard.limit_s,
        # Shovellers dig while the searcher goes on: only the last hole costs time at the end.
        holes=standard.targets if standard.team == "alone" else 1,
        digs=len(own_digs_s),
        dig_s=median(own_digs_s) if own_digs_s else None,
    )


def _search_limit_s(budget: Budget) -> float:
    return budget.limit_s if budget.seconds is None else budget.seconds


def _word(
    run: Performance,
    misfits: Sequence[str],
    failed: bool,
    unseen: bool,
    all_in_time: bool,
    untested: bool,
) -> Word:
    if run.outcome in ("void", "interrupted") or not run.started:
        return "counts neither way"
    if misfits:
        return "not this standard"
    if untested and not failed:
        return (
            "search part met, digging not tested"
            if all_in_time
            else "search part not met, digging not tested"
        )
    if failed or not all_in_time:
        return "not met"
    return "met as far as seen" if unseen else "met"


def _misfits(standard: Standard, run: Performance) -> Iterator[str]:
    """Why the run says nothing of the standard, whichever way it went."""
    if run.work == "dig only":
        yield "Nothing was searched for: only digging was timed."
    elif len(run.found) != standard.targets:
        yield f"{len(run.found)} sent, the standard has {standard.targets}."
    if run.aided:
        yield "It was made easier by an aid."
    low_m, high_m = standard.depth_m
    out = [depth_m for depth_m in run.depths_m if not low_m <= depth_m <= high_m]
    if out:
        depths = ", ".join(f"{depth_m:.2f} m" for depth_m in out)
        yield f"Depth {depths}, the standard has {low_m:g} to {high_m:g} m."


def _beside(standard: Standard, run: Performance) -> Iterator[str]:
    if run.knows_places:
        yield "You know these holes: an upper bound."
    if run.area_m is not None and sorted(run.area_m) != sorted(standard.area_m):
        own, asked = ("{:g} m x {:g} m".format(*area) for area in (run.area_m, standard.area_m))
        yield f"The area was {own}, the standard has {asked}."
    if run.told and not standard.told:
        yield "You were told how many send; by the standard you are not."
    if standard.told and not run.told:
        yield "You were not told how many send; by the standard you are."
    if run.work == "search and dig" and not standard.digging:
        yield "You dug in between; the standard ends on the last strike."
    if standard.clock_starts != "the word go":
        yield (
            f"By the standard the clock starts with {standard.clock_starts}; "
            "this run's started with the horn."
        )


def _early_fails(standard: Standard, run: Performance, seen: Review) -> Iterator[EarlyFail]:
    for name in standard.fail_if_missed:
        for row in seen.of(name):
            if row.state == "missed" and row.tick is not None:
                what = f"Missed: {row.step.title}."
                yield EarlyFail(what=what, run_s=row.tick.run_s, target=row.target)
    allowed = standard.strays_allowed
    if allowed is not None and len(run.strays) > allowed:
        at = sorted(run.strays, key=best_or_latest)[allowed]
        what = f"Struck or dug where nothing sent, more than {allowed} times."
        yield EarlyFail(what=what, run_s=at.best)
    first_s = standard.first_strike_by_s
    if first_s is not None and (run.end_run_s is None or run.end_run_s >= first_s):
        struck = [one.struck or one.dug_out for one in run.found]
        if not any(_in_time(one, first_s) for one in struck if one is not None):
            yield EarlyFail(what=f"Nothing was found in {first_s / 60:g} min.", run_s=first_s)


def _because(
    run: Performance,
    misfits: Sequence[str],
    in_time: int,
    standard: Standard,
    moments: Sequence[Span],
) -> Iterator[str]:
    if not run.started:
        yield "The run did not start."
        return
    if run.outcome in ("void", "interrupted"):
        yield f"The run was {'declared void' if run.outcome == 'void' else 'interrupted'}."
        return
    yield from misfits
    what = "dug out" if standard.digging and run.work != "search only" else "struck"
    within = "" if standard.technique else " in time"
    yield f"{in_time} of {standard.targets} {what}{within}."
    late = len(moments) - in_time
    if late > 0:
        yield f"{late} more later."
    if run.outcome == "stopped":
        yield "The run was stopped before its end."
    if run.until_done and run.done is None:
        yield "Nobody said that the ground is clear."
