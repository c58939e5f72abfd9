"""From closed runs of the logbook to legs that can be held against the modelled searcher."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from blindfield.console.leg_times import leg_times
from blindfield.debrief.timeline import build_timeline
from blindfield.debrief.values import Timeline, middle
from blindfield.logbook.book import Logbook
from blindfield.model.errors import BlindfieldError, LogbookError
from blindfield.model.events import Event
from blindfield.model.field import Field
from blindfield.model.ids import run_id_text
from blindfield.model.run_summary import RunRecord
from blindfield.model.scenario import Scenario, scenario_from_json
from blindfield.searcher.problem import problem_of
from blindfield.searcher.refit import Observed
from blindfield.searcher.values import Problem

RUNS_READ = 40  # the latest: a pace is that of this season
SHOWN_OF_ID = 6


@dataclass(frozen=True)
class Walked:
    """A closed run, the problem it set, and its legs that can be compared."""

    timeline: Timeline
    problem: Problem
    legs: tuple[Observed, ...]

    @property
    def whole_s(self) -> float | None:
        """Seconds to the last find; None when not all were found."""
        finds = self.timeline.finds
        return middle(finds[-1].run_s) if len(finds) >= len(self.problem.sources) else None

    @property
    def digging_s(self) -> dict[int, float]:
        """Seconds from strike to dug out, by the number of the find; where digging counts."""
        if self.timeline.end_on != "dug_out":
            return {}
        return {
            find.number: middle(find.run_s) - middle(find.struck)
            for find in self.timeline.finds
            if find.struck is not None
        }


def walked(
    record: RunRecord, events: Sequence[Event], place: Field, *, may_mark: bool = True
) -> Walked:
    """The closed run of `record`. Raises LogbookError or ConfigError where its problem cannot be
    read or no model can walk it."""
    timeline = build_timeline(record, events)
    scenario = _scenario(record, events)
    problem = problem_of(scenario, place, may_mark=may_mark)
    return Walked(timeline, problem, tuple(legs_of(timeline, problem)))


def own_legs(logbook: Logbook, place: Field) -> tuple[list[Observed], int]:
    """The legs of the latest closed runs, oldest run first, and how many runs were left out since
    they cannot be read or walked. Runs that were declared void or never began give no leg."""
    legs: list[Observed] = []
    left_out = 0
    for record in reversed(logbook.runs(RUNS_READ)):
        if record.is_open:
            continue
        try:
            legs += walked(record, logbook.events_of(record.run_id), place).legs
        except BlindfieldError:
            left_out += 1  # the field was changed since, or it comes from an older program
    return legs, left_out


def legs_of(timeline: Timeline, problem: Problem) -> list[Observed]:
    """The legs of `leg_times` on the problem that was set."""
    label = run_id_text(timeline.run_id)[:SHOWN_OF_ID]
    return [
        Observed(problem, leg.number, leg.seconds, leg.cut, label)
        for leg in leg_times(timeline, len(problem.sources))
    ]


def _scenario(record: RunRecord, events: Sequence[Event]) -> Scenario:
    for event in events:
        if event.kind == "run_drawn" and isinstance(event.data.get("scenario"), dict):
            try:
                return scenario_from_json(event.data["scenario"])
            except (KeyError, TypeError) as error:
                raise LogbookError(
                    f"the problem of run {run_id_text(record.run_id)} cannot be read: {error!r}.",
                    remedy="It may come from another blindfield: update this one.",
                ) from error
    raise LogbookError(f"run {run_id_text(record.run_id)} does not hold its problem.")
