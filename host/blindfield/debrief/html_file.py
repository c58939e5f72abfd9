"""The page of a run as a file."""

from __future__ import annotations

from pathlib import Path

from blindfield.debrief.html_page import MADE_BY, page
from blindfield.debrief.html_values import Told
from blindfield.model.errors import ConfigError
from blindfield.model.files_of_ours import write_ours

SUFFIXES = (".html", ".htm")


def check_name(path: Path) -> None:
    """Raises ConfigError unless `path` ends in .html or .htm."""
    if path.suffix.lower() not in SUFFIXES:
        raise ConfigError(
            f"a page cannot be written as {path.name}.", remedy="Name a file that ends in .html."
        )


def save(told: Told, path: Path) -> int:
    """Write the page, whole or not at all, and give its size in bytes.

    A page of ours that is there is replaced; anything else is not. Raises ConfigError for another
    suffix, for a file that we did not make, and when the file cannot be written; NotReady for a
    run that is open.
    """
    check_name(path)
    content = page(told).encode("utf-8")
    write_ours(path, content, mark=MADE_BY, kind="page", option="--html")
    return len(content)
