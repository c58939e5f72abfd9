"""Figures worked out of runs, kept beside them so that a thousand runs need not be read again.

A copy of what the events say, no record: every row can be worked out again, and one that is of
another version, or older than the last event of its run, counts as absent.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from sqlalchemy import (
    Column,
    ColumnElement,
    ForeignKey,
    Integer,
    LargeBinary,
    MetaData,
    Select,
    Table,
    Text,
    and_,
    delete,
    func,
    insert,
    inspect,
    null,
    select,
)

from blindfield.logbook.database import Database
from blindfield.logbook.rows import run_of
from blindfield.logbook.schema import events, runs
from blindfield.model.run_summary import RunRecord

VERSION = 1

figures = Table(
    "run_figures",
    # Of its own: this table comes when it is first needed, by no numbered step.
    MetaData(),
    Column("run_id", LargeBinary, ForeignKey(runs.c.run_id, ondelete="CASCADE"), primary_key=True),
    Column("version", Integer, nullable=False),
    Column("last_event", Integer, nullable=False),
    Column("data", Text, nullable=False),
)


class Figured(NamedTuple):
    """A closed run, its number in the order made, and what was worked out of it (None: nothing)."""

    number: int
    record: RunRecord
    data: Mapping[str, Any] | None


class Tally(NamedTuple):
    """How many closed runs that began one searcher made, and the number of the last."""

    searcher: str
    runs: int
    last_number: int


class Figures:
    """Every method raises LogbookError when the logbook cannot be read or written."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def searchers(self) -> list[Tally]:
        """Everybody of whom there are closed runs that began, whoever searched last first; "" are
        runs of which nobody was named."""
        query = (
            select(runs.c.searcher, func.count(), func.max(runs.c.number))
            .where(~runs.c.is_open, runs.c.started_utc.is_not(None))
            .group_by(runs.c.searcher)
        )
        with self._database.reading() as connection:
            rows = connection.execute(query).all()
        tallies = [Tally(name or "", count, last) for name, count, last in rows]
        return sorted(tallies, key=lambda one: -one.last_number)

    def latest(self, searcher: str, limit: int) -> list[Figured]:
        """The latest closed runs that began, of one searcher, oldest first, in the order made."""
        with self._database.reading() as connection:
            known = inspect(connection).has_table(figures.name)
            rows = connection.execute(query_of(searcher, limit, known=known))
            read = rows.mappings().all()
        return [Figured(row["number"], run_of(row), _data(row["data"])) for row in read[::-1]]

    def kept(self) -> list[tuple[bytes, Mapping[str, Any] | None]]:
        """All that is kept and fresh, by run; None where it is damaged."""
        with self._database.reading() as connection:
            if not inspect(connection).has_table(figures.name):
                return []
            query = select(runs.c.run_id, figures.c.data).join_from(runs, figures, _fresh())
            rows = connection.execute(query.order_by(runs.c.number)).all()
        return [(run_id, _data(text)) for run_id, text in rows]

    def keep(self, made: Iterable[tuple[bytes, Mapping[str, Any]]]) -> None:
        """Keeps what was worked out of runs, in place of what was kept before."""
        with self._database.writing() as connection:
            figures.create(connection, checkfirst=True)
            for run_id, data in made:
                connection.execute(delete(figures).where(figures.c.run_id == run_id))
                last = select(func.max(events.c.id)).where(events.c.run_id == run_id)
                connection.execute(
                    insert(figures).values(
                        run_id=run_id,
                        version=VERSION,
                        last_event=connection.execute(last).scalar() or 0,
                        data=json.dumps(data, allow_nan=False),
                    )
                )


def query_of(searcher: str, limit: int, *, known: bool) -> Select[Any]:
    """Of one searcher's latest runs, latest first; `known`: the table of figures is there."""
    query = select(runs, figures.c.data if known else null().label("data"))
    if known:
        query = query.select_from(runs.outerjoin(figures, _fresh()))
    mine = (runs.c.searcher == searcher, ~runs.c.is_open, runs.c.started_utc.is_not(None))
    return query.where(*mine).order_by(runs.c.number.desc()).limit(limit)


def _fresh() -> ColumnElement[bool]:
    """Joins a run with its figures if they are of this version and nothing was recorded since."""
    last = select(func.max(events.c.id)).where(events.c.run_id == runs.c.run_id).scalar_subquery()
    return and_(
        figures.c.run_id == runs.c.run_id,
        figures.c.version == VERSION,
        figures.c.last_event == func.coalesce(last, 0),
    )


def _data(text: str | None) -> Mapping[str, Any] | None:
    try:
        data = json.loads(text or "null")
    except ValueError:
        return None  # damaged: worked out again
    return data if isinstance(data, dict) else None
