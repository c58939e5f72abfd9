"""Names as they can stand in a picture."""

from __future__ import annotations

from collections.abc import Iterator

from blindfield.debrief import words


def shown_name(name: str, longest: int) -> str:
    """The name as it can stand in a picture: printable, cut with a sign that it was cut."""
    plain = "".join(_printable(name))
    return plain if len(plain) <= longest else plain[: longest - 1] + "…"


def called(name: str, longest: int) -> str:
    """The target's name as it can stand in a picture: a bare number says what it numbers."""
    return shown_name(words.called(name), longest)


def _printable(text: str) -> Iterator[str]:
    for character in text:
        yield character if character.isprintable() else "?"
