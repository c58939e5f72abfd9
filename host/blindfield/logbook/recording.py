"""How an event becomes a row, and how the close makes it readable.

All functions here run inside a transaction of their caller.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    RowMapping,
    Select,
    and_,
    bindparam,
    exists,
    func,
    insert,
    or_,
    select,
    update,
)

from blindfield.logbook.commitment import commit
from blindfield.logbook.rows import event_of, plain_columns, sealed_columns, summary_columns
from blindfield.logbook.schema import events, runs
from blindfield.logbook.sealing import Sealer
from blindfield.model.errors import LogbookError
from blindfield.model.events import DeviceKey, Event
from blindfield.model.ids import run_id_text
from blindfield.model.run_summary import RunSummary


class RowWriter:
    """Writes rows under the field key, or without one."""

    def __init__(self, sealer: Sealer | None) -> None:
        self.sealer = sealer

    def insert(self, connection: Connection, event: Event) -> int:
        """The event's id; a journal record seen before gives the first one again."""
        first = None if event.device_key is None else self._known(connection, event.device_key)
        if first is not None:
            return first
        if event.kind == "run_drawn":
            self._open_run(connection, event)
        sealer = self._sealer_of_row(connection, event)
        columns = plain_columns(event) if sealer is None else sealed_columns(event, sealer)
        done = connection.execute(insert(events).values(run_id=event.run_id, **columns))
        key = done.inserted_primary_key
        assert key is not None
        return int(key[0])

    def _known(self, connection: Connection, key: DeviceKey) -> int | None:
        """The id under which a journal record was recorded before."""
        same: ColumnElement[bool] = and_(
            events.c.device_id == key.device_id,
            events.c.journal_id == key.journal_id,
            events.c.seq == key.seq,
        )
        if self.sealer is not None:
            same = or_(same, events.c.seal_hash == self.sealer.row_hash(key))
        return connection.execute(select(events.c.id).where(same).limit(1)).scalar()

    def _open_run(self, connection: Connection, event: Event) -> None:
        if event.run_id is None or self.sealer is None:
            raise LogbookError("a run cannot be drawn without the field key and a run id.")
        data = event.data
        missing = {"field_name", "scenario", "salt", "commitment"} - set(data)
        if missing:
            raise ValueError(f"a run_drawn event lacks {sorted(missing)}")
        if commit(data["scenario"], bytes.fromhex(data["salt"])) != data["commitment"]:
            raise ValueError("the commitment is not one to this scenario and salt")
        taken = exists().where(runs.c.run_id == event.run_id)
        if connection.execute(select(taken)).scalar():
            raise LogbookError(f"run {run_id_text(event.run_id)} has been drawn already.")
        connection.execute(
            insert(runs).values(
                run_id=event.run_id,
                field_name=data["field_name"],
                drawn_utc=event.utc,
                key_id=self.sealer.key_id,
                commitment=data["commitment"],
                is_open=True,
            )
        )

    def _sealer_of_row(self, connection: Connection, event: Event) -> Sealer | None:
        """What this event must be sealed with: while any run is open, everything is.

        Without the key, what the host and people say outside runs stays plain: recovery needs it,
        and a host without the key hears nothing that would tell.
        """
        if event.run_id is not None:
            row = run_row(connection, event.run_id)
            if row["is_open"]:
                return self.sealer_for(row)
        if not connection.execute(select(exists().where(runs.c.is_open))).scalar():
            return None
        if self.sealer is None and event.source == "device":
            raise LogbookError(
                "a device's event cannot be kept while a run is open without the field key.",
                remedy="Give the field key.",
            )
        return self.sealer

    def sealer_for(self, row: RowMapping) -> Sealer:
        """What opens the run of that row. Raises LogbookError: no key, another key."""
        run = run_id_text(row["run_id"])
        if self.sealer is None:
            raise LogbookError(
                f"run {run} is open and the field key is missing.",
                remedy="Give the field key; silencing needs none.",
            )
        if self.sealer.key_id != row["key_id"]:
            raise LogbookError(
                f"run {run} was made with another field key.", remedy="Give that key."
            )
        return self.sealer

    def reveal(self, connection: Connection, run_id: bytes) -> str:
        """Opens the run's rows, and with the last open run all others; returns the salt."""
        others = exists().where(runs.c.is_open, runs.c.run_id != run_id)
        query = select(events).where(events.c.sealed.is_not(None))
        if connection.execute(select(others)).scalar():
            query = query.where(events.c.run_id == run_id)
        salt = ""
        for event in self._opened(connection, query, must_open=run_id):
            if event.kind == "run_drawn" and event.run_id == run_id:
                salt = event.data["salt"]
        return salt

    def reveal_what_is_left(self, connection: Connection) -> int:
        """Opens what the key opens while no run is open; how many rows stay sealed."""
        query = select(events).where(events.c.sealed.is_not(None))
        if self.sealer is not None:
            self._opened(connection, query)
        sealed = select(func.count()).where(events.c.sealed.is_not(None))
        return connection.execute(sealed).scalar() or 0

    def _opened(
        self, connection: Connection, query: Select[Any], *, must_open: bytes | None = None
    ) -> list[Event]:
        """Makes these sealed rows plain, except those of other runs than `must_open` that another
        key sealed."""
        opened = []
        for row in connection.execute(query).mappings().all():
            try:
                opened.append(event_of(row, self.sealer))
            except LogbookError:
                if must_open is not None and row["run_id"] == must_open:
                    raise
        if opened:
            plain = [{"row_id": event.id, **plain_columns(event)} for event in opened]
            connection.execute(update(events).where(events.c.id == bindparam("row_id")), plain)
        return opened


def run_row(connection: Connection, run_id: bytes) -> RowMapping:
    """Raises LogbookError when there is no such run."""
    query = select(runs).where(runs.c.run_id == run_id)
    row = connection.execute(query).mappings().one_or_none()
    if row is None:
        raise LogbookError(
            f"run {run_id_text(run_id)} was never drawn in this logbook.",
            remedy="Keep its events without a run.",
        )
    return row


def refuse_while_open(connection: Connection, what: str) -> None:
    """Raises LogbookError: `what` ("a person cannot be removed") while any run is open."""
    if connection.execute(select(exists().where(runs.c.is_open))).scalar():
        raise LogbookError(
            f"{what} while a run is open.",
            remedy="End it first; one that a crash left open is ended by `blindfield devices`.",
        )


def store_summary(connection: Connection, summary: RunSummary, **further: object) -> None:
    """Writes the summary, and `further` columns, into the run's row."""
    columns = {**summary_columns(summary), **further}
    connection.execute(update(runs).where(runs.c.run_id == summary.run_id).values(**columns))
