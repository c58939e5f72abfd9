"""A copy of the logbook as one file, made while it is in use."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing, suppress
from pathlib import Path

from blindfield.logbook.book import Logbook
from blindfield.logbook.faults import told
from blindfield.model.errors import ConfigError, LogbookError


def back_up(logbook: Logbook, path: Path) -> int:
    """Copies the logbook to `path`, over nothing but an older backup of it; how many runs it holds.

    The copy is one moment of the logbook, an open run sealed as it is there. It is checked before
    it takes its name. Raises ConfigError for a file of others, LogbookError when it fails; what
    was at `path` before is then as it was.
    """
    target = path.resolve()
    fresh = target.with_name(f".{target.name}.{os.getpid()}.new")
    _refuse_others(logbook, target)
    try:
        with told(str(fresh)):
            with closing(sqlite3.connect(fresh)) as copy:
                logbook.database.copy_to(copy)
                # One file, nothing beside it: it is going to be carried about.
                copy.execute("PRAGMA journal_mode = DELETE")
            count = _checked(fresh)
            _synchronise(fresh)
            os.replace(fresh, target)
    except LogbookError as error:
        raise LogbookError(
            f"the backup {path} could not be made: {error.what}",
            remedy="Name a file in a folder of yours, on a disk with room.",
        ) from error
    finally:
        with suppress(OSError):
            fresh.unlink()
    return count


def _refuse_others(logbook: Logbook, target: Path) -> None:
    if target.exists() and os.path.samefile(target, logbook.database.name):
        raise ConfigError(f"{target} is the logbook itself.", remedy="Name another file.")
    beside = target.with_name(target.name + "-wal")
    if beside.exists() and beside.stat().st_size:
        raise ConfigError(f"{target} is in use.", remedy="Close it, or name another file.")
    if target.exists() and not _run_ids(target) <= {one.run_id for one in logbook.runs()}:
        raise ConfigError(
            f"{target} is there already and is no older backup of this logbook.",
            remedy="It was left as it is: name another file.",
        )


def _run_ids(path: Path) -> set[bytes | None]:
    """Of a logbook; {None} for any other file."""
    try:
        with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as there:
            return {row[0] for row in there.execute("SELECT run_id FROM runs")}
    except sqlite3.Error:
        return {None}


def _checked(path: Path) -> int:
    """Opens it as a logbook and reads every page; how many runs it holds."""
    with closing(sqlite3.connect(path)) as copy:
        found = copy.execute("PRAGMA quick_check(1)").fetchone()[0]
        copy.execute("SELECT version FROM schema_version").fetchall()
        count = int(copy.execute("SELECT count(*) FROM runs").fetchone()[0])
    if found != "ok":
        raise LogbookError(f"the copy is damaged: {found}.")
    return count


def _synchronise(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())
