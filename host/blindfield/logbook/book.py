"""The logbook: append events, close runs, find them again.

An event is acknowledged (`append` returns) once it is on disk. While a run is open its rows are
opaque, see `sealing`; this keeps text from the searcher's eyes and is no security boundary.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

from sqlalchemy import Connection, select

from blindfield.logbook.commitment import commit, name_was_removed
from blindfield.logbook.database import Database
from blindfield.logbook.facts import Facts
from blindfield.logbook.faults import Damaged
from blindfield.logbook.migrations import migrate
from blindfield.logbook.past import Past
from blindfield.logbook.recording import RowWriter, refuse_while_open, run_row, store_summary
from blindfield.logbook.rows import event_of, run_of
from blindfield.logbook.schema import events, runs
from blindfield.logbook.sealing import Sealer
from blindfield.model.errors import LogbookError
from blindfield.model.events import Event
from blindfield.model.ids import RUN_ID_CHARACTERS, match_run_id, parse_run_id, run_id_text
from blindfield.model.run_summary import RunRecord, RunSummary

NOT_REVEALED = "not_revealed"
"""The flag of a run that was closed without being read."""

LATER_KINDS = ("correction", "void", "tick", "note")
"""What can be said of a run after its close."""


@dataclass(frozen=True)
class Rebuilt:
    """A summary made anew from the events, beside the stored one (None: the run is open)."""

    stored: RunSummary | None
    computed: RunSummary

    @property
    def agrees(self) -> bool:
        return self.stored == self.computed


class Logbook:
    """Any thread may call; calls take turns. Every method raises LogbookError when it fails."""

    def __init__(self, database: Database, sealer: Sealer | None) -> None:
        self.database = database
        self.facts = Facts(database)
        self.past = Past(database)
        self._row_writer = RowWriter(sealer)

    @classmethod
    def open(
        cls,
        path: Path | str | None,
        *,
        field_key: bytes | None,
        create: bool = True,
        busy_s: float = 5.0,
    ) -> Self:
        """`path` None keeps it in memory. Waits at most `busy_s` for another program's write.

        Without `field_key` closed runs can be read and open ones listed, no more.
        """
        sealer = None if field_key is None else Sealer(field_key)
        database = Database(
            None if path is None else Path(path).absolute(), create=create, busy_s=busy_s
        )
        try:
            migrate(database)
        except LogbookError:
            database.close()
            raise
        return cls(database, sealer)

    def close(self) -> None:
        self.database.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def append(self, event: Event) -> int:
        """The event's id, once it is on disk; a device key seen before gives the first id again.

        A `run_drawn` event (data from `commitment.drawn_data`) opens its run.
        """
        return self.append_many([event])[0]

    def append_many(self, many: Sequence[Event]) -> list[int]:
        """All or none, in order, with one synchronisation."""
        with self.database.writing() as connection:
            return [self._row_writer.insert(connection, event) for event in many]

    def append_to_closed(
        self,
        run_id: bytes,
        many: Sequence[Event],
        summarise: Callable[[Sequence[Event]], RunSummary],
    ) -> Rebuilt:
        """What people say of a closed run (LATER_KINDS), with its summary worked out anew: both or
        neither. `stored` is the summary as it was, `computed` the one that is kept now.

        `summarise` gets all of the run's events, these included; it may raise, then nothing is
        kept, and may not use the logbook. Refused while any run is open. Such as
        `logbook.append_to_closed(record.run_id, [event], console.summing.summarise(record))`.
        """
        if any(event.kind not in LATER_KINDS or event.run_id != run_id for event in many):
            raise ValueError(f"only of this run, and only {', '.join(LATER_KINDS)}")
        with self.database.writing() as connection:
            stored = run_of(run_row(connection, run_id)).summary
            refuse_while_open(connection, "a closed run cannot be corrected")
            assert stored is not None
            for event in many:
                self._row_writer.insert(connection, event)
            computed = summarise(self._read(connection, run_id))
            if computed.run_id != run_id:
                raise ValueError("the summary is of another run")
            store_summary(connection, computed)
        return Rebuilt(stored, computed)

    def events_of(self, run_id: bytes | None) -> list[Event]:
        """In the order of recording; None gives the events that belong to no run."""
        with self.database.reading() as connection:
            return self._read(connection, run_id)

    def _read(self, connection: Connection, run_id: bytes | None) -> list[Event]:
        query = select(events).where(events.c.run_id.is_not_distinct_from(run_id))
        rows = connection.execute(query.order_by(events.c.id)).mappings().all()
        return [event_of(row, self._row_writer.sealer) for row in rows]

    def open_runs(self) -> list[RunRecord]:
        """Oldest first; needs no key, so that recovery can silence."""
        query = select(runs).where(runs.c.is_open).order_by(runs.c.number)
        with self.database.reading() as connection:
            return [run_of(row) for row in connection.execute(query).mappings()]

    def runs(self, limit: int | None = None) -> list[RunRecord]:
        """Latest first."""
        query = select(runs).order_by(runs.c.number.desc()).limit(limit)
        with self.database.reading() as connection:
            return [run_of(row) for row in connection.execute(query).mappings()]

    def find_run(self, prefix: str | None) -> RunRecord:
        """The run whose id begins so; None gives the latest."""
        if prefix is None:
            latest = self.runs(limit=1)
            if not latest:
                raise LogbookError(f"the logbook {self.database.name} holds no run yet.")
            return latest[0]
        with self.database.reading() as connection:
            if len(prefix) == RUN_ID_CHARACTERS:  # whole: not held against a hundred thousand
                whole = select(runs).where(runs.c.run_id == parse_run_id(prefix))
                row = connection.execute(whole).mappings().one_or_none()
                if row is not None:
                    return run_of(row)
            known = connection.execute(select(runs.c.run_id)).scalars().all()
            return run_of(run_row(connection, match_run_id(prefix, known)))

    def close_run(self, run_id: bytes, summary: RunSummary) -> None:
        """Reveals every row of the run and keeps its summary and salt, all at once.

        Doing it again with the same summary changes nothing; with another one it is refused.
        """
        if summary.run_id != run_id:
            raise ValueError("the summary is of another run")
        with self.database.writing() as connection:
            row = run_row(connection, run_id)
            if row["is_open"]:
                self._row_writer.sealer_for(row)
                salt = self._row_writer.reveal(connection, run_id)
                store_summary(connection, summary, is_open=False, salt=salt)
            elif run_of(row).summary != summary:
                raise LogbookError(
                    f"run {run_id_text(run_id)} is closed already.",
                    remedy="Corrections are events; rebuild the summary from them.",
                )

    def abandon_run(self, run_id: bytes, *, ended_utc: str) -> None:
        """Closes as interrupted a run that cannot be revealed (key lost, row damaged)."""
        with self.database.writing() as connection:
            row = run_row(connection, run_id)
            if not row["is_open"]:
                return
            summary = RunSummary(
                run_id=run_id,
                field_name=row["field_name"],
                scenario_kind="",
                standard=None,
                time_limit_s=None,
                started_utc=None,
                ended_utc=ended_utc,
                outcome="interrupted",
                targets=0,
                flags=(NOT_REVEALED,),
            )
            store_summary(connection, summary, is_open=False)

    def reveal_what_is_left(self) -> int:
        """Opens, as far as the key does, rows that stayed sealed after their runs were closed
        without it; how many stay sealed. Refused while a run is open."""
        with self.database.writing() as connection:
            refuse_while_open(connection, "nothing is revealed")
            return self._row_writer.reveal_what_is_left(connection)

    def check_commitment(self, run_id: bytes) -> bool:
        """Whether the scenario revealed is the one committed to before the run.

        Raises LogbookError where that cannot be said: not revealed, or a name was taken out of it.
        """
        record = self.find_run(run_id_text(run_id))
        drawn = [event for event in self.events_of(run_id) if event.kind == "run_drawn"]
        if record.is_open or not drawn:
            raise LogbookError(
                f"run {run_id_text(run_id)} has not been revealed.", remedy="Close it first."
            )
        if name_was_removed(drawn[0].data):
            raise LogbookError(
                f"what opens the commitment of run {run_id_text(run_id)} was removed with a name.",
                remedy="A backup made before still proves the problem.",
            )
        salt = record.salt or drawn[0].data["salt"]
        return commit(drawn[0].data["scenario"], bytes.fromhex(salt)) == record.commitment

    def rebuild(
        self,
        run_id: bytes,
        summarise: Callable[[Sequence[Event]], RunSummary],
        *,
        store: bool = False,
    ) -> Rebuilt:
        """The summary that `summarise` makes of the run's events, compared with the stored one.

        `store` replaces the stored one, as after a correction; the run must be closed.
        """
        record = self.find_run(run_id_text(run_id))
        computed = summarise(self.events_of(run_id))
        if store and record.is_open:
            raise LogbookError(f"run {run_id_text(run_id)} is open.", remedy="Close it first.")
        if store:
            with self.database.writing() as connection:
                store_summary(connection, computed)
        return Rebuilt(record.summary, computed)

    def check(self) -> None:
        """Reads the whole file; raises Damaged, a LogbookError, when it is damaged."""
        with self.database.reading() as connection:
            found = connection.exec_driver_sql("PRAGMA integrity_check(1)").scalar()
        if found != "ok":
            raise Damaged(
                f"the logbook {self.database.name} is damaged: {found}.",
                remedy="Copy it with the files beside it and work on a copy; "
                "`blindfield logbook check` saves what can be read.",
            )
