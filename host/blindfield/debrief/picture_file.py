"""A picture as a file: the same bytes each time, whole or not at all, over nothing of others."""

from __future__ import annotations

import io
import os
import warnings
from contextlib import suppress
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure

from blindfield.debrief.picture_ink import settings
from blindfield.model.errors import ConfigError

MADE_BY = "blindfield, a modelled search"
PNG_DPI = 150
_HEAD_BYTES = 8192  # in which either kind names who made it


def write(figure: Figure, path: Path) -> None:
    _refuse_foreign(path)
    _replace(path, content_of(figure, path.suffix.lower()))


def content_of(figure: Figure, suffix: str) -> bytes:
    """The file's bytes; they hold no date."""
    facts: dict[str, Any] = (
        {"Creator": MADE_BY, "Date": None} if suffix == ".svg" else {"Software": MADE_BY}
    )
    held = io.BytesIO()
    with settings(), warnings.catch_warnings():
        # A name in letters that the type does not have: in an SVG the reader's own type has them.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        figure.savefig(held, format=suffix[1:], dpi=PNG_DPI, metadata=facts)
    return held.getvalue()


def _refuse_foreign(path: Path) -> None:
    try:
        with open(path, "rb", opener=_open_without_waiting) as file:
            ours = MADE_BY.encode() in file.read(_HEAD_BYTES)
    except FileNotFoundError:
        return
    except OSError as error:
        raise _cannot_write(path, error) from error
    if not ours:
        raise ConfigError(
            f"{path} is there already and is no picture of ours.",
            remedy="It was left as it is: name another file with --picture.",
        )


def _open_without_waiting(path: str, flags: int) -> int:
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))


def _replace(path: Path, content: bytes) -> None:
    target = path.resolve()
    fresh = target.with_name(f".{target.name}.{os.getpid()}.new")
    try:
        fresh.write_bytes(content)
        os.replace(fresh, target)
    except OSError as error:
        with suppress(OSError):
            fresh.unlink()
        raise _cannot_write(path, error) from error


def _cannot_write(path: Path, error: OSError) -> ConfigError:
    return ConfigError(
        f"{path} cannot be written: {error.strerror}.",
        remedy="Name a file in a folder of yours with --picture.",
    )
