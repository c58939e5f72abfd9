"""A large file of ours that is there whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from blindfield.model.errors import ConfigError
from blindfield.model.files_of_ours import refuse_foreign


def write_lines(path: Path, lines: Iterable[str], *, mark: str, kind: str) -> int:
    """Writes the lines as they come, over nothing but a file with `mark`; how many they were.

    Raises ConfigError as `files_of_ours.write_ours` does; what a failure in `lines` raises passes,
    and the file is as it was.
    """
    refuse_foreign(path, mark=mark, kind=kind, option="FILE")
    target = path.resolve()
    fresh = target.with_name(f".{target.name}.{os.getpid()}.new")
    count = 0
    try:
        with open(fresh, "w", encoding="utf-8", newline="") as file:
            for line in lines:
                file.write(line)
                count += 1
            file.flush()
            os.fsync(file.fileno())
        os.replace(fresh, target)
    except OSError as error:
        raise ConfigError(
            f"{path} cannot be written: {error.strerror}.",
            remedy="Name a file in a folder of yours.",
        ) from error
    finally:
        with suppress(OSError):
            fresh.unlink()
    return count
