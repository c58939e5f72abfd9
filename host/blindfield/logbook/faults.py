"""What the database engine says, in a sentence for the user."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import SQLAlchemyError

from blindfield.model.errors import LogbookError

_DAMAGED = (
    "is damaged.",
    "Keep it together with the files beside it whose names begin the same, work on a copy; "
    "`blindfield logbook check` saves what can be read. Move them all away to begin a new logbook.",
)
_DENIED = ("cannot be written.", "Check the permissions of the file and its folder.")

# Primary result codes, https://www.sqlite.org/rescode.html
_SENTENCES: dict[int, tuple[str, str]] = {
    sqlite3.SQLITE_PERM: _DENIED,
    sqlite3.SQLITE_BUSY: (
        "is held by another program.",
        "Close the other program that has it open and try again.",
    ),
    sqlite3.SQLITE_LOCKED: ("is held by another program.", "Try again."),
    sqlite3.SQLITE_READONLY: _DENIED,
    sqlite3.SQLITE_IOERR: (
        "could not be read or written: the disk failed.",
        "Check the disk; what was acknowledged before is kept.",
    ),
    sqlite3.SQLITE_CORRUPT: _DAMAGED,
    sqlite3.SQLITE_FULL: (
        "has no room left: the disk is full.",
        "Free some space; what was acknowledged before is kept.",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "cannot be opened.",
        "Check that it is a file, not a folder, and that its folder can be written.",
    ),
    sqlite3.SQLITE_NOTADB: _DAMAGED,
}


class Damaged(LogbookError):
    """What the file holds can no longer be read as it should be."""


@contextmanager
def told(name: str) -> Iterator[None]:
    """Turns whatever the engine raises inside into a LogbookError about the logbook `name`."""
    try:
        yield
    except (SQLAlchemyError, sqlite3.Error, OSError) as error:
        raise _sentence(name, error) from error


def _sentence(name: str, error: Exception) -> LogbookError:
    if isinstance(error, OSError):
        what, remedy = _SENTENCES[sqlite3.SQLITE_CANTOPEN]
        return LogbookError(f"the logbook {name} {what} ({error.strerror})", remedy=remedy)
    cause = getattr(error, "orig", error)
    code = getattr(cause, "sqlite_errorcode", None)
    known = _SENTENCES.get(code & 0xFF) if isinstance(code, int) else None
    if known is None:
        said = str(cause).rstrip(".")
        return LogbookError(
            f"the logbook {name} failed: {said}.", remedy="Keep the file and report this."
        )
    what, remedy = known
    error_kind = Damaged if known is _DAMAGED else LogbookError
    return error_kind(f"the logbook {name} {what}", remedy=remedy.replace("FILE", name))
