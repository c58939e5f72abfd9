"""The SQLite file under the logbook: one connection, real synchronisation, bounded waits.

Write-ahead log with full synchronisation: every commit is one append and one sync (a rollback
journal needs several), and a debrief in a second process reads while a run is recorded. Where the
file system cannot do it SQLite stays with a rollback journal; EXTRA then also syncs the folder
after the journal is gone, and in write-ahead mode means the same as FULL. Source:
https://www.sqlite.org/pragma.html#pragma_synchronous
"""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, create_engine, event
from sqlalchemy.pool import StaticPool

from blindfield.logbook.faults import told
from blindfield.model.errors import LogbookError

IN_MEMORY = ":memory:"
RETRY_S = 0.005
_PRAGMAS = (
    "PRAGMA synchronous = EXTRA",
    # macOS: fsync alone leaves data in the drive's cache. No effect elsewhere.
    "PRAGMA fullfsync = ON",
    "PRAGMA checkpoint_fullfsync = ON",
    "PRAGMA foreign_keys = ON",
    # Sorting must not spill a run's rows into files of its own.
    "PRAGMA temp_store = MEMORY",
)


class Database:
    """Transactions on one file; any thread may call, one at a time."""

    def __init__(self, path: Path | None, *, create: bool, busy_s: float) -> None:
        """`path` None keeps everything in memory. Waits at most `busy_s` for another writer.

        Raises LogbookError.
        """
        self.name = IN_MEMORY if path is None else str(path)
        if path is not None:
            self._prepare(path, create)
        self.engine = create_engine(
            URL.create("sqlite", database=self.name),
            poolclass=StaticPool,
            connect_args={"timeout": busy_s, "check_same_thread": False},
        )
        event.listen(self.engine, "connect", partial(_on_connect, busy_s))
        event.listen(self.engine, "begin", _on_begin)
        self._one_at_a_time = threading.Lock()

    def _prepare(self, path: Path, create: bool) -> None:
        if not create and not path.exists():
            raise LogbookError(
                f"there is no logbook at {path}.", remedy="Name the right file, or make a run."
            )
        with told(self.name):
            path.parent.mkdir(parents=True, exist_ok=True)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A consistent view."""
        with self._one_at_a_time, told(self.name), self.engine.begin() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """All or nothing; on disk when it is left without an error."""
        # The write lock comes first, so that what is read inside stays true until the commit.
        eager = self.engine.execution_options(immediate=True)
        with self._one_at_a_time, told(self.name), eager.begin() as connection:
            yield connection

    def compact(self) -> bool:
        """Writes the file anew without what was deleted, and empties the log beside it. False when
        another program holds the log: what was deleted may still be found in it."""
        with self._one_at_a_time, told(self.name):
            raw = self.engine.raw_connection()
            try:
                raw.execute("VACUUM")
                busy = raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
            finally:
                raw.close()
        return not busy

    def copy_to(self, target: sqlite3.Connection) -> None:
        """All that is committed, as of one moment, while others go on writing."""
        with self._one_at_a_time, told(self.name):
            raw = self.engine.raw_connection()
            try:
                source = raw.driver_connection
                assert isinstance(source, sqlite3.Connection)
                source.backup(target)
            finally:
                raw.close()

    def close(self) -> None:
        with told(self.name):
            self.engine.dispose()


def _on_connect(busy_s: float, connection: sqlite3.Connection, _record: object) -> None:
    # The driver's own implicit transactions off: `_on_begin` says how they begin.
    connection.isolation_level = None
    _write_ahead(connection, busy_s)
    for pragma in _PRAGMAS:
        connection.execute(pragma).close()


def _write_ahead(connection: sqlite3.Connection, busy_s: float) -> None:
    """Two programs that make the same file at once: SQLite does not wait here by itself."""
    deadline_s = time.monotonic() + busy_s
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL").close()
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY:
                raise
            if time.monotonic() >= deadline_s:
                raise
            time.sleep(RETRY_S)


def _on_begin(connection: Connection) -> Any:
    immediate = connection.get_execution_options().get("immediate", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if immediate else "BEGIN")
