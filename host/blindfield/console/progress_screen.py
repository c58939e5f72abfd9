"""`blindfield progress` in words and one table."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from blindfield.console.par_tables import leg_words, of_100
from blindfield.console.progress import Progress
from blindfield.debrief.words import clock_text, whole_text
from blindfield.drills.catalogue import DRILLS
from blindfield.model.ids import run_id_text
from blindfield.scoring.attempts import LEAST_COUNTED
from blindfield.scoring.prospect import Prospect
from blindfield.scoring.readiness import SHARE
from blindfield.scoring.trends import Trend

SHOWN_OF_ID = 6
KNOWING = "You know these holes: an upper bound, and kept apart from the blind runs."
DIG_NOT_TESTED = "Digging was not part of it: that part is not tested."


def render(progress: Progress, *, ascii_only: bool = False) -> RenderableType:
    """The whole page; plain counts first."""
    parts: list[RenderableType] = [Text(line) for line in (*_head(progress), *_next(progress))]
    if progress.trends:
        parts += [Text(""), _table(progress, ascii_only)]
    parts += [Text(""), *(Text(line) for line in _foot(progress))]
    return Group(*parts)


def _head(progress: Progress) -> Iterator[str]:
    asked = progress.whose
    runs = "1 run" if asked.runs == 1 else f"{asked.runs} runs"
    last = asked.own.attempts[-1].utc if asked.own.attempts else ""
    when = f", the last on {datetime.fromisoformat(last).astimezone():%Y-%m-%d}" if last else ""
    name = asked.name if asked.searcher else asked.name.capitalize()
    yield f"{name}: {runs}{when}."
    if asked.runs > len(asked.own.attempts):
        yield f"What follows is from the last {len(asked.own.attempts)} of them."
    for before, after in progress.set_back:
        yield (
            f"The clock was set back between run {_id(before.run_id)} and run "
            f"{_id(after.run_id)}: they stand in the order in which they were made."
        )


def _id(run_id: bytes) -> str:
    return run_id_text(run_id)[:SHOWN_OF_ID]


def _next(progress: Progress) -> Iterator[str]:
    both = progress.prospects
    if both is None:
        yield "Without a time limit there is nothing to be met in time."
        return
    yield f"Standard: {both.blind.goal.title}."
    yield from _prospect_lines(both.blind, "blind")
    if both.knowing is not None:
        yield KNOWING
        yield from _prospect_lines(both.knowing, "such")


def _prospect_lines(one: Prospect, sort: str) -> Iterator[str]:
    yield _count_line(one, sort)
    if one.said is None:
        runs = "run" if one.more == 1 else "runs"
        yield (
            f"{one.more} more comparable {sort} {runs} and the next attempt can be judged: it "
            f"takes {LEAST_COUNTED}."
        )
    else:
        said = one.said
        part = "The search part of the" if one.basis == "search part only" else "The"
        yield (
            f"{part} next fresh scenario: {of_100(said.chance)} would pass "
            f"({100 * SHARE:.0f} %: {100 * said.low:.0f} to {100 * said.high:.0f})."
        )
        yield _rests_on(one)
    yield from _digging_lines(one)


def _count_line(one: Prospect, sort: str) -> str:
    count = one.count
    if not count.count:
        return f"No comparable {sort} run yet."
    if count.count == 1:
        what = f"the only comparable {sort} run"
    else:
        what = f"{count.met} of your last {count.count} comparable {sort} runs"
    verb = "Met" if count.count > 1 or count.met else "Not met:"
    return f"{verb} {what} (95 %: {100 * count.low:.0f} to {100 * count.high:.0f} of 100)."


def _rests_on(one: Prospect) -> str:
    assert one.said is not None
    cut = f", {one.said.cut} of them broken off" if one.said.cut else ""
    kinds = f"{len(one.said.by_kind)} drills, each as likely" if len(one.said.by_kind) > 1 else ""
    drills = kinds or "one drill only"
    what = {
        "search": "search only",
        "whole": "search and dig together",
        "search and dig combined": f"their search, and {one.digs} digs, combined",
        "search part only": "the search part only",
    }[one.basis]
    return f"It rests on {one.runs} runs{cut}; {drills}; {what}."


def _digging_lines(one: Prospect) -> Iterator[str]:
    if one.basis == "search":
        yield DIG_NOT_TESTED
    budget_s, dig_s = one.budget_s, one.dig_s
    if one.basis == "search" or budget_s is None or dig_s is None:
        return
    holes = "the hole" if one.goal.targets == 1 else f"{one.goal.targets} holes"
    if one.dig_is_model:
        yield (
            f"No dig runs: digging not tested. By a model {whole_text(dig_s)} a hole, which leaves "
            f"{whole_text(budget_s)} of {whole_text(one.goal.limit_s)} to search."
        )
    else:
        yield (
            f"Search budget: {whole_text(budget_s)} of {whole_text(one.goal.limit_s)}; {holes} at "
            f"the middle of your digs, {whole_text(dig_s)}."
        )


def _table(progress: Progress, ascii_only: bool) -> Table:
    table = Table(
        box=box.ASCII2 if ascii_only else box.SIMPLE_HEAD,
        header_style="dim",
        pad_edge=False,
        show_edge=False,
    )
    for name in ("drill", "leg"):
        table.add_column(name, no_wrap=True)
    for name in ("runs", "cut", "latest", "median", "next", "x2", "par"):
        table.add_column(name, justify="right", no_wrap=True)
    before = ""
    for trend in progress.trends:
        kind = "" if trend.kind == before else _drill(trend.kind)
        before = trend.kind
        table.add_row(kind, *_cells(trend))
    if progress.digging is not None:
        table.add_section()
        table.add_row("digging", *_cells(progress.digging))
    return table


def _drill(kind: str) -> str:
    return DRILLS[kind].kind if kind in DRILLS else kind


def _cells(one: Trend) -> tuple[str, ...]:
    curve = one.curve
    latest = clock_text(one.latest.seconds)
    return (
        _leg(one.leg),
        str(one.runs),
        str(one.cut) if one.cut else "",
        f"> {latest}" if one.latest.cut else latest,
        "" if one.middle_s is None else clock_text(one.middle_s),
        "" if one.next_s is None else whole_text(one.next_s),
        "" if curve is None else f"{curve.doubling:.2f}",
        "" if one.over_par is None else f"{one.over_par:.2f}",
    )


def _leg(leg: int | None) -> str:
    if leg is None:
        return "whole"
    return leg_words(leg) if leg else "strike to dug out"


def _foot(progress: Progress) -> Iterator[str]:
    steps, read = progress.steps, progress.whose.own
    if steps.seen:
        runs = "run" if steps.runs == 1 else f"{steps.runs} runs"
        own = f" ({steps.by_self} of them by your own report)" if steps.by_self else ""
        yield (
            f"Steps: {steps.right} of {steps.seen}{own} right in the last {runs} that somebody "
            "ticked."
        )
    else:
        yield "Steps: nobody ticked any, so nothing is known of technique."
    if progress.digging is None:
        yield "Digging: no dig yet."
    if progress.trends:
        yield (
            "cut: broken off, and longer than that; next: the usual time of the next run by the "
            "learning curve; x2: what twice the runs multiply it by; par: next over par. Times "
            "are cut off at the last digit."
        )
    if read.without_par:
        of = f"{read.without_par} of {len(read.attempts)}"
        yield f"Par is missing for {of} runs; --par computes it."
    if read.unread:
        yield f"{read.unread} of them hold no problem that can be read: only their result counts."
