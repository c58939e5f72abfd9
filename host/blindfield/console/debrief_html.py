"""What the page of a run is made from, out of the logbook and the model."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from blindfield.console.blind import refuse_while_open
from blindfield.console.debrief import par_beside
from blindfield.console.own_figures import own_attempts
from blindfield.console.own_legs import Walked
from blindfield.console.par_tables import leg_words, of_100
from blindfield.debrief.html_file import check_name, save
from blindfield.debrief.html_values import Beside, Modelled, ParRow, Told, comparable
from blindfield.debrief.performance import performance_of, ticks_in
from blindfield.debrief.picture_samples import with_antennas_known
from blindfield.debrief.timeline import build_timeline
from blindfield.debrief.values import Timeline
from blindfield.logbook.book import Logbook
from blindfield.model.errors import BlindfieldError
from blindfield.model.events import Event
from blindfield.model.field import Field
from blindfield.model.run_summary import RunRecord
from blindfield.scoring.attempts import Attempt
from blindfield.scoring.judge import Performance, judge
from blindfield.scoring.prospect import dig_times
from blindfield.scoring.review import review
from blindfield.scoring.standards import Standard, standards_of
from blindfield.scoring.steps import Circumstances
from blindfield.searcher.par import Par
from blindfield.searcher.profiles import profile_named
from blindfield.searcher.walk import trace

PROFILE, SEED = "practised", 1
LAST = 10

__all__ = ["check_name", "told_of", "write"]


def write(
    logbook: Logbook, which: str | None, place: Field, file: str, *, all_targets: bool = False
) -> str:
    """The page of a closed run (None: the last one), written to `file`; what to say of it.

    Raises NotReady while any run is open: it would show its searcher where targets lie.
    """
    path = Path(file).expanduser()
    check_name(path)
    record = logbook.find_run(which)
    refuse_while_open(logbook)
    size = save(told_of(record, logbook, place, all_targets=all_targets), path)
    return (
        f"Wrote {path}: {size / 1000:.0f} kB, opens without a network and prints. It shows where "
        "targets lie: not for whoever will search this field."
    )


def told_of(
    record: RunRecord, logbook: Logbook, place: Field, *, all_targets: bool = False
) -> Told:
    """All of one closed run. Raises LogbookError where its problem cannot be read."""
    events = logbook.events_of(record.run_id)
    timeline = build_timeline(record, events)
    standards = standards_of(place.folder)
    searcher = "" if record.summary is None else record.summary.searcher
    attempts = own_attempts(logbook, place, searcher, standards).attempts
    run = performance_of(timeline, events, area_m=(place.width_m, place.height_m))
    ticks = tuple(ticks_in(timeline, events))
    standard = standards.get(timeline.standard or "")
    verdict = None
    if standard is not None:
        verdict = judge(standard, run, ticks, own_digs_s=_digs_s(attempts, record.run_id))
    beside, modelled = _model(record, events, place, timeline)
    reviewed = review(_circumstances(run, standard), ticks, _names(timeline))
    return Told(
        timeline=timeline,
        beside=beside,
        review=reviewed if verdict is None else verdict.review,
        ticks=ticks,
        verdict=verdict,
        modelled=modelled,
        past=comparable(attempts, record.run_id, LAST),
        place=place,
        all_targets=all_targets,
    )


def _digs_s(attempts: Sequence[Attempt], run_id: bytes) -> list[float]:
    """Of other runs, those that ended."""
    others = [one for one in attempts if one.run_id != run_id]
    return [dig.seconds for dig in dig_times(others) if not dig.cut]


def _circumstances(run: Performance, standard: Standard | None) -> Circumstances:
    return Circumstances(
        targets=len(run.found),
        work=run.work,
        marking=run.marking,
        switch_off=standard is not None and standard.switch_off,
    )


def _names(timeline: Timeline) -> list[str]:
    """Of the targets in play, those found first and in their order."""
    found = [find.target for find in timeline.finds]
    in_play = [target.name for target in timeline.targets if target.in_play]
    return [*(name for name in found if name in in_play), *(n for n in in_play if n not in found)]


def _model(
    record: RunRecord, events: Sequence[Event], place: Field, timeline: Timeline
) -> tuple[Beside, Modelled | None]:
    if not timeline.started:
        return Beside(), None
    try:
        made, par = par_beside(record, events, place)
        modelled = _modelled(made)
    except BlindfieldError as error:
        return Beside(said=f"No par for this run: {error}"), None
    said = f"{par.count} modelled searches of this problem (a {par.profile} searcher), not people."
    return Beside(rows=tuple(_rows(made, par)), said=said), modelled


def _modelled(made: Walked) -> Modelled:
    problem = with_antennas_known(made.problem, SEED)
    search = trace(problem, profile_named(PROFILE), seed=SEED)
    return Modelled(problem=problem, trace=search, searcher=f"profile {PROFILE}, seed {SEED}")


def _rows(made: Walked, par: Par) -> Iterator[ParRow]:
    legs = {leg.leg: leg for leg in made.legs}
    for number, band in enumerate(par.legs, 1):
        leg, name = legs.get(number), leg_words(number)
        ordinal = name.split()[-1]
        if leg is None:
            yield ParRow(name=name, band=band)
        else:
            faster = "" if leg.censored else of_100(par.faster(leg.seconds, number))
            yield ParRow(name=name, band=band, yours_s=leg.seconds, cut=leg.censored, faster=faster)
        if par.digging:
            dug_s = made.digging_s.get(number)
            yield ParRow(name=f"digging, {ordinal}", band=par.digging[number - 1], yours_s=dug_s)
    whole_s = made.whole_s
    faster = "" if whole_s is None else of_100(par.faster(whole_s))
    yield ParRow(name="whole", band=par.whole, yours_s=whole_s, faster=faster)
