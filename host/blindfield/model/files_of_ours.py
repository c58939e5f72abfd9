"""Files that we make: whole or not at all, and over nothing of others.

Each kind of file carries a mark of its own near its beginning or its end.
"""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from blindfield.model.errors import ConfigError

_HEAD_BYTES, _TAIL_BYTES = 8192, 65536  # an SVG or PNG names who made it in front, a PDF behind


def write_ours(path: Path, content: bytes, *, mark: str, kind: str, option: str) -> None:
    """Write `content`, which holds `mark`, to `path`, over nothing but a file with that mark.

    `kind` names it in a sentence ("picture"), `option` is where the name was given. Raises
    ConfigError for a file of others, which is left as it is, and when it cannot be written.
    """
    refuse_foreign(path, mark=mark, kind=kind, option=option)
    target = path.resolve()
    fresh = target.with_name(f".{target.name}.{os.getpid()}.new")
    try:
        fresh.write_bytes(content)
        os.replace(fresh, target)
    except OSError as error:
        with suppress(OSError):
            fresh.unlink()
        raise _cannot_write(path, error, option) from error


def refuse_foreign(path: Path, *, mark: str, kind: str, option: str) -> None:
    """Raises ConfigError where `path` is there and not ours; see `write_ours`."""
    try:
        with open(path, "rb", opener=open_without_waiting) as file:
            content = file.read(_HEAD_BYTES)
            rest = max(0, os.fstat(file.fileno()).st_size - _TAIL_BYTES)
            if len(content) == _HEAD_BYTES:
                file.seek(max(_HEAD_BYTES, rest))
                content += file.read(_TAIL_BYTES)
    except FileNotFoundError:
        return
    except OSError as error:
        raise _cannot_write(path, error, option) from error
    if mark.encode() not in content:
        raise ConfigError(
            f"{path} is there already and is no {kind} of ours.",
            remedy=f"It was left as it is: name another file with {option}.",
        )


def open_without_waiting(path: str, flags: int) -> int:
    """An `opener` for `open`: a named pipe in a file's place would otherwise hold us for ever."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))


def _cannot_write(path: Path, error: OSError, option: str) -> ConfigError:
    return ConfigError(
        f"{path} cannot be written: {error.strerror}.",
        remedy=f"Name a file in a folder of yours with {option}.",
    )
