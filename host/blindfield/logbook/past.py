"""Short questions about what was, for whoever draws the next problem: no event is read whole."""

from __future__ import annotations

import json
from typing import NamedTuple

from sqlalchemy import func, or_, select

from blindfield.logbook.database import Database
from blindfield.logbook.rows import event_of
from blindfield.logbook.schema import events, runs
from blindfield.model.events import Event
from blindfield.model.run_summary import Outcome
from blindfield.model.scenario import Work

FIELD_KINDS = ("placed", "depth", "state", "snow", "receive_range")
LIFTED = "dug_out"
MOST_RUNS = 2000


class PastRun(NamedTuple):
    """One closed run as the draw sees it; `sent`: names of the targets in play."""

    kind: str
    work: Work
    field_name: str
    start_point: str
    sent: frozenset[str]
    outcome: Outcome
    knows_places: bool = False


class Past:
    """Every method raises LogbookError when the logbook cannot be read."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def runs_of(self, searcher: str) -> list[PastRun]:
        """The last MOST_RUNS closed runs of one searcher, latest first: what is older says little
        of what they can do now. "" are those of whom nobody was named; capital or small letters
        make no other name."""
        query = (
            select(
                func.coalesce(runs.c.scenario_kind, ""),
                func.coalesce(runs.c.work, "search only"),
                runs.c.field_name,
                func.coalesce(runs.c.start_point, ""),
                func.coalesce(runs.c.sent, "[]"),
                runs.c.outcome,
                runs.c.knows_places,
            )
            .where(~runs.c.is_open, runs.c.started_utc.is_not(None))
            .order_by(runs.c.number.desc())
            .limit(MOST_RUNS)
        )
        with self._database.reading() as connection:
            known = connection.execute(select(runs.c.searcher).distinct()).scalars()
            same = [one for one in known if (one or "").casefold() == searcher.casefold()]
            rows = connection.execute(query.where(runs.c.searcher.in_(same))).all()
        names = _Names()  # the same few sets come again and again
        return [
            PastRun(kind, work, field_name, start_point, names[sent], outcome, knows)
            for kind, work, field_name, start_point, sent, outcome, knows in rows
        ]

    def of_the_field(self) -> list[Event]:
        """What is known of how targets lie and how far searchers hear: the entries of people, and
        the last time each device felt itself lifted, in the order of recording.

        While a run is open what came since it began is not among them.
        """
        lifted = (
            select(func.max(events.c.id))
            .where(events.c.kind == LIFTED)
            .group_by(events.c.device_id)
        )
        asked = or_(events.c.kind.in_(FIELD_KINDS), events.c.id.in_(lifted))
        with self._database.reading() as connection:
            query = select(events).where(asked).order_by(events.c.id)
            rows = connection.execute(query).mappings().all()
        return [event_of(row, None) for row in rows]


class _Names(dict[str, frozenset[str]]):
    def __missing__(self, sent: str) -> frozenset[str]:
        return self.setdefault(sent, frozenset(json.loads(sent)))
