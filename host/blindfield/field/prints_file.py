"""Pages as files: PDF with all of them, or an SVG each; the same bytes each time."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from blindfield.field.prints_ink import settings
from blindfield.model.files_of_ours import refuse_foreign, write_ours

MADE_BY = "blindfield, a print of a field"
_OURS: dict[str, str] = {"mark": MADE_BY, "kind": "print", "option": "--out"}


def write(title: str, pages: Sequence[Figure], path: Path) -> list[Path]:
    """Write `pages` to `path`, .pdf or .svg; further SVG pages beside it as NAME-2.svg and so on.

    Gives the files written. Raises ConfigError before anything is written where one of them is a
    file of others, and when one cannot be written.
    """
    contents = content_of(title, pages, path.suffix.lower())
    paths = [path, *(path.with_stem(f"{path.stem}-{n}") for n in range(2, len(contents) + 1))]
    for one in paths:
        refuse_foreign(one, **_OURS)
    for one, content in zip(paths, contents, strict=True):
        write_ours(one, content, **_OURS)
    return paths


def content_of(title: str, pages: Sequence[Figure], suffix: str) -> list[bytes]:
    """The bytes of each file; they hold no date."""
    with settings():
        if suffix == ".pdf":
            return [_pdf(title, pages)]
        return [_svg(title, page) for page in pages]


def _pdf(title: str, pages: Sequence[Figure]) -> bytes:
    facts: dict[str, Any] = {"Title": title, "Creator": MADE_BY, "CreationDate": None}
    held = io.BytesIO()
    with PdfPages(held, metadata=facts) as file:
        for page in pages:
            file.savefig(page)
    return held.getvalue()


def _svg(title: str, page: Figure) -> bytes:
    held = io.BytesIO()
    page.savefig(held, format="svg", metadata={"Title": title, "Creator": MADE_BY, "Date": None})
    return held.getvalue()
