"""What statistics need of one closed run, worked out of its events."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from hashlib import sha256
from typing import Any

from blindfield.console.leg_times import leg_times
from blindfield.console.own_legs import walked
from blindfield.debrief.performance import performance_of, ticks_in
from blindfield.debrief.timeline import build_timeline
from blindfield.debrief.values import TargetStory, Timeline, middle
from blindfield.model.errors import BlindfieldError
from blindfield.model.events import Event
from blindfield.model.field import Field
from blindfield.model.run_summary import RunRecord
from blindfield.scoring.attempts import Timed
from blindfield.scoring.judge import judge
from blindfield.scoring.standards import Standard
from blindfield.scoring.ticks import right_and_seen, ticks_of

PAR_PROFILE = "practised"

Figure = dict[str, Any]


def figure_of(
    record: RunRecord,
    events: Sequence[Event],
    place: Field,
    standards: Mapping[str, Standard],
    *,
    make_par: bool = False,
) -> Figure:
    """What statistics need of a closed run beyond its summary, as plain JSON values.

    Raises LogbookError where its problem cannot be read.
    """
    timeline = build_timeline(record, events)
    targets = max(1, timeline.to_find)
    return {
        "legs": [[leg.number, leg.seconds, leg.cut] for leg in leg_times(timeline, targets)],
        "whole": _whole(timeline, targets),
        "digs": [[time.seconds, time.cut] for time in _digs(timeline)],
        "depth_m": _depths(timeline.targets),
        "seed": timeline.seed,
        "aided": _aided(events),
        "steps": [*right_and_seen(events), _own_reports(events)],
        "failed": _failed(timeline, events, standards),
        "standards": digest_of(standards),
        **_par(record, events, place, make_par),
    }


def _whole(timeline: Timeline, targets: int) -> list[Any] | None:
    finds, end = timeline.finds, timeline.end_run_s
    if len(finds) >= targets and middle(finds[targets - 1].run_s) > 0:
        return [middle(finds[targets - 1].run_s), False]
    ended = [middle(one) for one in (end, *(find.run_s for find in finds[-1:])) if one is not None]
    return [max(ended), True] if ended and max(ended) > 0 else None


def _digs(timeline: Timeline) -> list[Timed]:
    """Strike to dug out; one that was begun and not ended is cut at the end of the run."""
    digs: list[tuple[float, Timed]] = []
    for target in timeline.targets:
        if target.struck is None or not target.in_play:
            continue
        begun_s = middle(target.struck)
        end = target.dug_out
        if end is None and timeline.end_on == "dug_out":
            end, cut = timeline.end_run_s, True
        else:
            cut = False
        if end is not None and middle(end) > begun_s:
            digs.append((begun_s, Timed(middle(end) - begun_s, cut)))
    return [time for _, time in sorted(digs, key=lambda one: one[0])]


def _depths(targets: Sequence[TargetStory]) -> list[float] | None:
    depths = [target.depth_m for target in targets if target.in_play]
    return [min(depths), max(depths)] if depths else None


def _failed(
    timeline: Timeline, events: Sequence[Event], standards: Mapping[str, Standard]
) -> list[str]:
    """The standards of so many targets that the run fails beside its time."""
    run, ticks = performance_of(timeline, events), ticks_in(timeline, events)
    fitting = [one for one in standards.values() if one.targets == timeline.to_find]
    verdicts = [judge(standard, run, ticks) for standard in fitting]
    return [one.standard.name for one in verdicts if one.early_fails or one.missing]


def _own_reports(events: Sequence[Event]) -> int:
    """How many of the steps seen are by the searcher's own report."""
    ticks = ticks_of(events, lambda _: None)
    return sum(one.self_report for one in ticks if one.value != "not applicable")


def _aided(events: Sequence[Event]) -> bool:
    """Whether an aid for beginners made the problem easier."""
    scenarios = [event.data.get("scenario") for event in events if event.kind == "run_drawn"]
    return any(isinstance(one, dict) and bool(one.get("aids")) for one in scenarios)


def _par(record: RunRecord, events: Sequence[Event], place: Field, make: bool) -> Figure:
    """Medians of the modelled searchers, where they are known or may be computed."""
    from blindfield.searcher.cache import ParCache
    from blindfield.searcher.legs import Pace
    from blindfield.searcher.par import COUNT, SEED, par_of
    from blindfield.searcher.profiles import profile_named

    try:
        problem = walked(record, events, place).problem
    except BlindfieldError:
        return {"par_tried": make}
    cache, profile = ParCache(), profile_named(PAR_PROFILE)
    if make:
        par = par_of(problem, profile, cache=cache)
    else:
        kept = cache.get(problem, profile, count=COUNT, seed=SEED, pace=Pace())
        if kept is None:
            return {"par_tried": False}
        par = kept
    return {
        "par_tried": True,
        "par_legs_s": [leg.median for leg in par.legs],
        "par_whole_s": par.whole.median,
    }


def digest_of(standards: Mapping[str, Standard]) -> str:
    """Changes when a standard does: what was judged by the old one is then judged anew."""
    return sha256(repr(sorted(standards.items())).encode()).hexdigest()[:16]
