"""The steps of a run: what somebody saw, and what nobody did."""

from __future__ import annotations

from blindfield.debrief.html_svg import sign
from blindfield.debrief.html_text import Html, bullets, element, joined, person, table
from blindfield.debrief.html_values import Told
from blindfield.debrief.judged import fault_text, step_lines, verdict_lines
from blindfield.debrief.words import called, whole_text
from blindfield.scoring.judge import Verdict
from blindfield.scoring.review import Review, Row
from blindfield.scoring.technique import praise

_SIGNS = {"right": "right", "put right": "right", "missed": "missed"}


def drawn(told: Told) -> Html:
    """The steps that were ticked, then what the ticks say together."""
    seen = [row for row in told.review.rows if row.tick is not None]
    if not seen:
        return element("p", "Nobody ticked a step in this run: nothing is said of technique.")
    heads = ("step", "seen as", "at", "by")
    listed = table("Steps that somebody saw", heads, map(_cells, seen), class_="steps")
    verdict = told.verdict
    lines = _said(told.review) if verdict is None else list(step_lines(verdict))
    return Html(listed + bullets(lines))


def _cells(row: Row) -> tuple[str, ...]:
    tick = row.tick
    assert tick is not None
    of: list[str] = [] if row.target is None else [" (", person(called(row.target)), ")"]
    mark = sign(_SIGNS[row.state]) if row.state in _SIGNS else Html("")
    at = "" if tick.run_s is None else whole_text(tick.run_s)
    by: list[str] = [person(tick.author)] if tick.author else []
    by += [" (own report)" if by else "own report"] if tick.self_report else []
    return joined([row.step.title, *of]), joined([mark, " ", row.state]), at, joined(by)


def _said(review: Review) -> list[str]:
    lines = list(praise(review))
    if review.seen:
        right = review.count("right", "put right")
        lines.append(f"{right} of {review.seen} steps seen were right.")
    lines += map(fault_text, review.faults)
    if review.self_only:
        lines.append(f"By the searcher's own report alone: {', '.join(review.self_only)}.")
    if review.unseen:
        phases = ", ".join(review.unseen)
        lines.append(f"Nobody saw these phases, so nothing is said of them: {phases}.")
    return lines


def standard(verdict: Verdict) -> Html:
    """The run against its standard; what its ticks say stands with the steps."""
    first, *others = verdict_lines(verdict)
    elsewhere = set(step_lines(verdict))
    others = [line for line in others if line not in elsewhere]
    return Html(element("p", element("strong", first)) + bullets(others))
