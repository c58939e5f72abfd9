"""A picture as a file: the same bytes each time, whole or not at all, over nothing of others."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure

from blindfield.field.prints_ink import settings
from blindfield.model.files_of_ours import write_ours

MADE_BY = "blindfield, a modelled search"
PNG_DPI = 150


def write(figure: Figure, path: Path) -> None:
    content = content_of(figure, path.suffix.lower())
    write_ours(path, content, mark=MADE_BY, kind="picture", option="--picture")


def content_of(figure: Figure, suffix: str) -> bytes:
    """The file's bytes; they hold no date."""
    facts: dict[str, Any] = (
        {"Creator": MADE_BY, "Date": None} if suffix == ".svg" else {"Software": MADE_BY}
    )
    held = io.BytesIO()
    with settings():
        figure.savefig(held, format=suffix[1:], dpi=PNG_DPI, metadata=facts)
    return held.getvalue()
