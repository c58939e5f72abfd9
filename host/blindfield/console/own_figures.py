"""Attempts out of a logbook: what was kept of each run, worked out anew where it is missing."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from blindfield.console.run_figures import Figure, digest_of, figure_of
from blindfield.debrief.values import middle
from blindfield.logbook.book import Logbook
from blindfield.logbook.figures import Figured, Figures
from blindfield.model.errors import BlindfieldError, LogbookError
from blindfield.model.field import Field
from blindfield.model.ids import run_id_text
from blindfield.model.run_summary import RunSummary
from blindfield.scoring.attempts import Attempt, Timed
from blindfield.scoring.standards import Standard, standards_of

READ = 200  # runs of one person: what was before says nothing of the next one


@dataclass(frozen=True)
class Own:
    """`attempts` in the order made; `unread`: how many closed runs hold no problem that can be
    read; `without_par`: how many have no par yet."""

    attempts: tuple[Attempt, ...]
    unread: int
    without_par: int


def own_attempts(
    logbook: Logbook,
    place: Field,
    searcher: str,
    standards: Mapping[str, Standard] | None = None,
    *,
    make_par: bool = False,
) -> Own:
    """The latest attempts of one searcher, by these `standards` (None: those of the field).

    A par that was computed before is used; `make_par` computes what is missing. What is worked out
    is kept, where the logbook can be written. Raises LogbookError.
    """
    standards = standards_of(place.folder) if standards is None else standards
    figures = Figures(logbook.database)
    rows = figures.latest(searcher, READ)
    made = {row.record.run_id: _made(logbook, place, row, standards, make_par) for row in rows}
    fresh = [(run, data) for run, data in made.items() if data is not None]
    if fresh:
        _keep(figures, fresh)
    known = [(row, made[row.record.run_id] or row.data or {}) for row in rows]
    techniques = {one.name for one in standards.values() if one.technique}
    attempts = _attempts(known, techniques)
    return Own(
        attempts=tuple(attempts),
        unread=sum("legs" not in data for _, data in known),
        without_par=sum(one.par_whole_s is None for one in attempts if one.outcome != "void"),
    )


def _keep(figures: Figures, fresh: Sequence[tuple[bytes, Figure]]) -> None:
    try:
        figures.keep(fresh)
    except LogbookError:
        pass  # a logbook that can only be read is read again the next time


def _made(
    logbook: Logbook,
    place: Field,
    row: Figured,
    standards: Mapping[str, Standard],
    make_par: bool,
) -> Figure | None:
    """What has to be kept anew; None where what is kept will do."""
    kept = row.data
    par_missing = make_par and kept is not None and not kept.get("par_tried")
    if kept is not None and kept.get("standards") == digest_of(standards) and not par_missing:
        return None
    try:
        events = logbook.events_of(row.record.run_id)
        return figure_of(row.record, events, place, standards, make_par=make_par)
    except BlindfieldError:
        return {"standards": digest_of(standards)}


def figures_that_differ(
    logbook: Logbook, place: Field, standards: Mapping[str, Standard]
) -> list[bytes]:
    """The runs of which something else is kept than their events say now: none, unless a row was
    changed from outside. A par is no part of it: it comes from a model."""
    differ = []
    for run_id, kept in Figures(logbook.database).kept():
        record = logbook.find_run(run_id_text(run_id))
        try:
            computed = figure_of(record, logbook.events_of(run_id), place, standards)
        except BlindfieldError:
            computed = {"standards": digest_of(standards)}
        if kept is None or _without_par(kept) != _without_par(computed):
            differ.append(run_id)
    return differ


def _without_par(figure: Mapping[str, Any]) -> Figure:
    return {name: value for name, value in figure.items() if not name.startswith("par_")}


def _attempts(
    known: Sequence[tuple[Figured, Mapping[str, Any]]], techniques: Collection[str]
) -> list[Attempt]:
    seen: set[tuple[Any, ...]] = set()
    attempts = []
    for row, data in known:
        summary = row.record.summary
        assert summary is not None
        problem = (summary.field_name, summary.scenario_kind, data.get("seed"))
        repeated = data.get("seed") is not None and problem in seen
        seen.add(problem)
        attempts.append(_attempt(row.number, summary, data, repeated, techniques))
    return attempts


def _attempt(
    number: int,
    summary: RunSummary,
    data: Mapping[str, Any],
    repeated: bool,
    techniques: Collection[str],
) -> Attempt:
    depth_m, whole = data.get("depth_m"), _whole_of(summary, data.get("whole"))
    right, seen, by_self = data.get("steps", (0, 0, 0))
    dig_only = summary.work == "dig only"
    digs = [Timed(*one) for one in data.get("digs", ())]
    if dig_only:
        digs = [] if whole is None else [whole]
    return Attempt(
        number=number,
        run_id=summary.run_id,
        utc=summary.started_utc or summary.ended_utc,
        searcher=summary.searcher,
        kind=summary.scenario_kind,
        work=summary.work,
        outcome=summary.outcome,
        targets=summary.targets,
        standard=summary.standard,
        limit_s=summary.time_limit_s,
        field_name=summary.field_name,
        knows_places=summary.knows_places,
        repeated=repeated,
        aided=bool(data.get("aided")),
        failed=tuple(data.get("failed", ())),
        technique=summary.time_limit_s is None or summary.standard in techniques,
        depth_m=None if depth_m is None else (depth_m[0], depth_m[1]),
        legs=_legs(data.get("legs", ())) if not dig_only else (),
        whole=whole,
        digs=tuple(digs),
        par_legs_s=tuple(data.get("par_legs_s", ())),
        par_whole_s=data.get("par_whole_s"),
        steps_right=right,
        steps_seen=seen,
        steps_by_self=min(by_self, seen),
    )


def _whole_of(summary: RunSummary, told: Sequence[Any] | None) -> Timed | None:
    """By the summary where all was found and the timeline tells less: a pack that was dug out, a
    run whose problem cannot be read."""
    if (told is None or told[1]) and summary.targets and summary.found >= summary.targets:
        last_s = middle(summary.find_run_s[summary.targets - 1])
        return Timed(last_s) if last_s > 0 else None
    return None if told is None else Timed(*told)


def _legs(rows: Sequence[Sequence[Any]]) -> tuple[Timed | None, ...]:
    """By number; None where one was not felt or was found by chance."""
    times = {number: Timed(seconds, cut) for number, seconds, cut in rows}
    return tuple(times.get(number) for number in range(1, max(times, default=0) + 1))
