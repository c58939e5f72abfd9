"""The hold on a field: one process has it, and the system takes it back when that process ends.

The lock is the operating system's own on an open file, so that nothing stays locked after a
crash or a kill. The file, `.blindfield.owner` beside `field.toml`, also says who holds the field
and how to speak to them; only its owner may read it. It is never deleted or replaced, since two
processes could then hold two files of one name.
"""

from __future__ import annotations

import contextlib
import json
import os
import sys
import time
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

from blindfield.model.errors import ConfigError, LinkBusy, LinkDenied

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

HOLD_FILE = ".blindfield.owner"
_MAX_NOTE_BYTES = 1024
_OPEN = os.O_RDWR | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
# Locks on Windows keep others from reading what is locked: lock a byte far behind the note.
_LOCKED_BYTE = 1 << 20
# A question in passing (`held_by`) takes the lock for microseconds: one look is not enough.
_LOOKS = 3
_BETWEEN_LOOKS_S = 0.02


@dataclass(frozen=True)
class Note:
    """Who holds the field, since when, and, once they serve, their port and its token."""

    pid: int
    since_utc: str
    port: int = 0
    token: str = ""

    @property
    def holder(self) -> str:
        since = datetime.fromisoformat(self.since_utc).astimezone()
        return f"process {self.pid}, since {since:%Y-%m-%d %H:%M:%S}"


class Hold:
    """The lock on one field's folder, from `take` to `release`."""

    def __init__(self, path: Path, descriptor: int, note: Note) -> None:
        self.path = path
        self.note = note
        self._descriptor: int | None = descriptor

    @classmethod
    def take(cls, folder: Path) -> Hold:
        """Takes the field in `folder`.

        Raises LinkBusy when another process has it, LinkDenied when this user may not write
        there, ConfigError when there is no such folder.
        """
        path = folder / HOLD_FILE
        descriptor = _open_to_write(path)
        try:
            for look in range(_LOOKS):
                if _lock(descriptor):
                    note = Note(os.getpid(), datetime.now(UTC).isoformat(timespec="seconds"))
                    hold = cls(path, descriptor, note)
                    hold.publish(note)
                    return hold
                if look < _LOOKS - 1:
                    time.sleep(_BETWEEN_LOOKS_S)
            raise _busy(path)
        except BaseException:
            os.close(descriptor)
            raise

    def publish(self, note: Note) -> None:
        """Puts `note` into the file in one write, so that a reader never sees half of it."""
        self._write(json.dumps(asdict(note)).encode("ascii") + b"\n")
        self.note = note

    def release(self) -> None:
        """Empties the note and gives the field up; doing it again does nothing."""
        if self._descriptor is None:
            return
        # A full disk must not keep us from giving the field up; the lock tells, not the note.
        with contextlib.suppress(OSError):
            self._write(b"")
        os.close(self._descriptor)
        self._descriptor = None

    def _write(self, line: bytes) -> None:
        if self._descriptor is None:
            raise RuntimeError("the hold on this field has been released")
        os.lseek(self._descriptor, 0, os.SEEK_SET)
        os.write(self._descriptor, line)
        os.ftruncate(self._descriptor, len(line))


def held_by(folder: Path) -> Note | None:
    """Who holds the field in `folder` now; None when nobody does, whatever an old note says.

    Raises LinkDenied when the file is another user's.
    """
    path = folder / HOLD_FILE
    try:
        descriptor = os.open(path, _OPEN)
    except PermissionError as error:
        raise _denied(path) from error
    except OSError:
        return None  # nothing that a process could hold
    try:
        note = _read_note(descriptor)
        # The lock is tried only where a note claims it, so that nobody is ever in the way of
        # a process that takes a free field.
        return None if note is None or _lock(descriptor) else note
    finally:
        os.close(descriptor)


def _open_to_write(path: Path) -> int:
    try:
        descriptor = os.open(path, _OPEN | os.O_CREAT, 0o600)
        if sys.platform != "win32":  # where these bits do not say who may read
            os.fchmod(descriptor, 0o600)
    except (FileNotFoundError, NotADirectoryError) as error:
        what = f"There is no folder {path.parent}."
        raise ConfigError(what, remedy="Name the field's own folder.") from error
    except PermissionError as error:
        raise _denied(path) from error
    except OSError as error:
        what = f"{path} cannot be opened: {error.strerror}."
        raise ConfigError(what, remedy="Move away what stands in its place.") from error
    return descriptor


def _read_note(descriptor: int) -> Note | None:
    """The note in an open file, or None where it holds none of ours."""
    os.lseek(descriptor, 0, os.SEEK_SET)
    line, _, _ = os.read(descriptor, _MAX_NOTE_BYTES).partition(b"\n")
    try:
        note = Note(**json.loads(line))
        datetime.fromisoformat(note.since_utc)
    except (ValueError, TypeError, RecursionError):
        return None
    sound = isinstance(note.pid, int) and isinstance(note.token, str)
    return note if sound and note.port in range(1 << 16) else None


def _lock(descriptor: int) -> bool:
    """Takes the lock without waiting; False when another has it. Closing gives it back."""
    try:
        if sys.platform == "win32":
            os.lseek(descriptor, _LOCKED_BYTE, os.SEEK_SET)
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    return True


def _busy(path: Path) -> LinkBusy:
    descriptor = os.open(path, _OPEN)
    try:
        note = _read_note(descriptor)
    finally:
        os.close(descriptor)
    return busy(note.holder if note else "it is just starting or ending")


def busy(holder: str, remedy: str = "") -> LinkBusy:
    """The refusal for whoever wants a field that `holder` has."""
    usual = "Use that one, or end it first; `blindfield silence` reaches the field through it."
    what = f"Another blindfield holds this field ({holder})."
    return LinkBusy(what, remedy=remedy or usual)


def _denied(path: Path) -> LinkDenied:
    return LinkDenied(
        f"{path} is not yours to use: another user of this computer has this field.",
        remedy="Work as that user. If something sends and must stop: a knock pattern on each "
        "target, the post's button, or wait out the lease.",
    )
