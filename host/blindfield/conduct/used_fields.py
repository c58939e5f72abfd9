"""Which fields this computer has in use, so that `silence` finds them from any terminal.

Each field taken leaves one small file in the user's state folder, which is kept: after a crash,
too, the field used last can be told. Nothing here is needed for a run; what fails is passed over.
"""

from __future__ import annotations

import contextlib
import hashlib
import time
from pathlib import Path

from platformdirs import user_state_path

from blindfield.conduct.hold import held_by
from blindfield.model.errors import BlindfieldError

LATELY_S = 24 * 3600.0
_KEPT = 50


def note_use(folder: Path) -> None:
    """The field in `folder` is taken now. A folder without a field's file (the practice bench
    holds one of its own) is none."""
    with contextlib.suppress(OSError):
        if not any(folder.glob("*.toml")):
            return
        notes = _folder()
        notes.mkdir(parents=True, exist_ok=True)
        name = hashlib.sha256(str(folder.absolute()).encode()).hexdigest()[:16]
        (notes / name).write_text(f"{folder.absolute()}\n", encoding="utf-8")
        for old in sorted(notes.iterdir(), key=_age_s)[_KEPT:]:
            old.unlink()


def fields_in_use() -> list[Path]:
    """Folders of the fields that a process on this computer holds now, the latest first."""
    return [folder for folder in _noted(float("inf")) if _held(folder)]


def field_used_last() -> Path | None:
    """The folder of the field that was taken last, within a day; None when there is none."""
    return next(iter(_noted(LATELY_S)), None)


def _folder() -> Path:
    return user_state_path("blindfield") / "fields"


def _noted(within_s: float) -> list[Path]:
    found = []
    with contextlib.suppress(OSError):
        for note in sorted(_folder().iterdir(), key=_age_s):
            if _age_s(note) <= within_s:
                found.append(Path(note.read_text(encoding="utf-8").strip()))
    return [folder for folder in found if folder.is_dir()]


def _age_s(note: Path) -> float:
    return time.time() - note.stat().st_mtime


def _held(folder: Path) -> bool:
    try:
        return held_by(folder) is not None
    except BlindfieldError:
        return False  # another user's
