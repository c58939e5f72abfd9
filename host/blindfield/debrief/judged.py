"""A verdict in words, and as JSON values."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from blindfield.debrief.words import whole_text
from blindfield.scoring.judge import Budget, EarlyFail, Verdict
from blindfield.scoring.review import OrderFault, Row
from blindfield.scoring.standards import WHO_DECIDES
from blindfield.scoring.steps import all_steps
from blindfield.scoring.technique import praise


def verdict_lines(verdict: Verdict) -> list[str]:
    """The verdict first, then why, what failed, which steps, and who decides in the end."""
    return list(_lines(verdict))


def _lines(verdict: Verdict) -> Iterator[str]:
    standard = verdict.standard
    yield f"{verdict.word[0].upper()}{verdict.word[1:]}: {standard.title}."
    yield from verdict.because
    if verdict.budget is not None:
        yield budget_text(verdict.budget)
    if verdict.close:
        yield (
            "A time that decides is known less well than it lies from the limit; the best "
            "estimate was taken."
        )
    yield from (f"Failed early: {fail_text(fail)}" for fail in verdict.early_fails)
    yield from _named("Required and missed", verdict.missing)
    yield from _named("Required and seen by nobody, so not known", verdict.not_seen)
    yield from verdict.beside
    yield from step_lines(verdict)
    yield f"{WHO_DECIDES} Source: {standard.source}."


def step_lines(verdict: Verdict) -> Iterator[str]:
    """What was ticked: how much of it right, what came too early, what deserves praise, what
    nobody saw."""
    seen = verdict.review
    yield from praise(seen)
    if seen.seen:
        yield f"Steps: {seen.count('right', 'put right')} of {seen.seen} seen were right."
    missed = [row for row in seen.rows if row.state == "missed" and row not in verdict.missing]
    yield from _named("Missed", missed)
    yield from map(fault_text, seen.faults)
    if seen.self_only:
        yield f"By your own report alone: {', '.join(seen.self_only)}."
    if seen.unseen and verdict.word != "counts neither way":
        yield f"Nobody saw these phases, so nothing is said of them: {', '.join(seen.unseen)}."


def budget_text(budget: Budget) -> str:
    limit = whole_text(budget.limit_s)
    if budget.dig_s is None or budget.seconds is None:
        return (
            f"No dig time of yours is known, so the search was held against the whole {limit}. "
            "A run with --drill dig_only gives one."
        )
    holes = "one hole" if budget.holes == 1 else f"{budget.holes} holes"
    runs = "the one dig" if budget.digs == 1 else f"the middle of your {budget.digs} digs"
    return (
        f"Search budget {whole_text(budget.seconds)}: {limit} less {holes} of "
        f"{whole_text(budget.dig_s)} ({runs})."
    )


def fail_text(fail: EarlyFail) -> str:
    of = "" if fail.target is None else f" ({fail.target})"
    at = "" if fail.run_s is None else f" At {whole_text(fail.run_s)}."
    return f"{fail.what[:-1]}{of}.{at}"


def fault_text(fault: OrderFault) -> str:
    late, early = (all_steps()[one.step].title for one in (fault.late, fault.early))
    of = fault.early.target or fault.late.target
    where = "" if of is None else f" ({of})"
    assert fault.early.run_s is not None
    assert fault.late.run_s is not None
    return (
        f"Order: {early} at {whole_text(fault.early.run_s)}, "
        f"{late} only at {whole_text(fault.late.run_s)}{where}."
    )


def _named(head: str, rows: Sequence[Row]) -> Iterator[str]:
    """One sentence; a step that is named for several targets once, with all of them."""
    targets: dict[str, list[str]] = {}
    for row in rows:
        own = targets.setdefault(row.step.title, [])
        own += [] if row.target is None else [row.target]
    names = [f"{title} ({', '.join(own)})" if own else title for title, own in targets.items()]
    if names:
        yield f"{head}: {'; '.join(names)}."


def verdict_json(verdict: Verdict) -> dict[str, Any]:
    """Plain JSON values; times in seconds."""
    budget, seen = verdict.budget, verdict.review
    return {
        "standard": verdict.standard.name,
        "title": verdict.standard.title,
        "source": verdict.standard.source,
        "who_decides": WHO_DECIDES,
        "verdict": verdict.word,
        "because": list(verdict.because),
        "beside": list(verdict.beside),
        "in_time": verdict.in_time,
        "close": verdict.close,
        "early_fails": [vars(fail) for fail in verdict.early_fails],
        "required_missed": [_row(row) for row in verdict.missing],
        "required_not_seen": [_row(row) for row in verdict.not_seen],
        "search_budget": None if budget is None else {**vars(budget), "seconds": budget.seconds},
        "steps": [_row(row) for row in seen.rows],
        "order_faults": [fault_text(fault) for fault in seen.faults],
        "pluses": praise(seen),
        "phases_unseen": list(seen.unseen),
        "phases_self_report_only": list(seen.self_only),
    }


def _row(row: Row) -> dict[str, Any]:
    tick = row.tick
    return {
        "step": row.step.name,
        "title": row.step.title,
        "phase": row.step.phase,
        "target": row.target,
        "state": row.state,
        "run_s": None if tick is None else tick.run_s,
        "author": "" if tick is None else tick.author,
        "self_report": tick is not None and tick.self_report,
    }
