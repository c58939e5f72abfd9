"""Reading a hand-written TOML file so that every mistake can be pointed at.

Errors are ConfigErrors that name the file, the line, what is wrong and the remedy.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from blindfield.field.toml_lines import TomlPath, line_of
from blindfield.model.errors import ConfigError

MAX_FILE_BYTES = 256 * 1024


@dataclass(frozen=True)
class Source:
    """The file and the lines of its keys: what an error needs to point at its cause."""

    path: Path
    lines: dict[TomlPath, int]

    def wrong(self, where: TomlPath, what: str, remedy: str) -> ConfigError:
        line = line_of(self.lines, where)
        return ConfigError(f"{self.path}, line {line}: {what}", remedy=remedy)


@dataclass(frozen=True)
class Table:
    """One table of the file; its methods read a key or raise the error that points at it.

    `where` is its path in the document, `header` how people write its head.
    """

    source: Source
    where: TomlPath
    values: dict[str, Any]
    header: str

    @property
    def label(self) -> str:
        listed = isinstance(self.where[-1], int)
        return f"{self.header} number {int(self.where[-1]) + 1}" if listed else self.header

    def wrong(self, key: str, what: str, remedy: str) -> ConfigError:
        return self.source.wrong((*self.where, key), f"{self.label}: {what}", remedy)

    def need(self, key: str, remedy: str) -> Any:
        if key not in self.values:
            raise self.wrong(key, f"{key} is missing.", remedy)
        return self.values[key]

    def text(self, key: str, example: str) -> str:
        value = self.need(key, f"Add a line such as {key} = {example}")
        if not isinstance(value, str):
            raise self.wrong(key, f"{key} must be text.", f"Write it as {key} = {example}")
        return value

    def optional_number(self, key: str, span: tuple[float, float]) -> float | None:
        return self.number(key, span) if key in self.values else None

    def number(self, key: str, span: tuple[float, float], default: float | None = None) -> float:
        """The number at `key`, within `span` inclusive; a span's unit is the key's last word."""
        if default is not None and key not in self.values:
            return default
        low, high = span
        allowed = f"{low:g} to {high:g} {key.rsplit('_', 1)[-1]}"
        value = self.need(key, f"Add a line {key} = with a number from {allowed}.")
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            remedy = f"Write a number from {allowed}, with a point and without quotes."
            raise self.wrong(key, f"{key} must be a number, not {shown(value)}.", remedy)
        if not low <= value <= high:
            what = f"{key} is {shown(value)}, outside {allowed}."
            raise self.wrong(key, what, f"Write a number from {allowed}.")
        return float(value)

    def path(self, key: str, default: str) -> Path:
        """An absolute path; what the file says counts from its own folder."""
        text = self.text(key, f'"{default}"') if key in self.values else default
        if not text.strip() or "\0" in text:
            raise self.wrong(key, f"{key} names no file.", f'Write it as {key} = "{default}"')
        return (self.source.path.parent / Path(text).expanduser()).absolute()


def read_text(path: Path) -> str:
    """The file's text with plain line ends; ConfigError when it cannot be had."""
    try:
        with path.open("rb") as file:
            raw = file.read(MAX_FILE_BYTES + 1)
        # Some editors begin a file with a byte order mark, which TOML does not know.
        text = raw.decode("utf-8-sig")
    except OSError as error:
        remedy = "Check the path, and that you may read the file."
        raise ConfigError(f"{path} cannot be read: {error.strerror}.", remedy=remedy) from error
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        remedy = "Save the file as UTF-8 text in your editor."
        raise ConfigError(f"{path}, line {line}: this is not UTF-8 text.", remedy=remedy) from error
    if len(raw) > MAX_FILE_BYTES:
        remedy = "Name the field's own settings file."
        raise ConfigError(f"{path} is too long to be a field file.", remedy=remedy)
    return text.replace("\r\n", "\n")


def parse(path: Path, text: str) -> dict[str, Any]:
    """The TOML document in `text`; ConfigError with line and column when it is malformed."""
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        reason, where = _decode_error(str(error), text)
        raise ConfigError(
            f"{path}, {where}: this is not TOML: {reason}.",
            remedy='Every line is [table], [[table]], or key = value: text in "quotes", numbers '
            "with a point, each key once; # begins a comment.",
        ) from error


def _decode_error(message: str, text: str) -> tuple[str, str]:
    """tomllib's reason and the place it gives at the end of its message."""
    found = re.search(r" \(at (?:line (\d+), column (\d+)|end of document)\)$", message)
    if found is None:
        return message, "at a line that cannot be told"
    if found[1] is None:
        return message[: found.start()], f"line {text.count(chr(10)) + 1} (the end)"
    return message[: found.start()], f"line {found[1]}, column {found[2]}"


def refuse_twins(tables: Iterable[Table], key: str) -> None:
    """Raises at the second table whose text at `key` is an earlier one's, capital or not."""
    first: dict[str, Table] = {}
    for table in tables:
        value = str(table.values[key])
        twin = first.setdefault(value.casefold(), table)
        if twin is not table:
            line = line_of(twin.source.lines, (*twin.where, key))
            what = f"{key} {shown(value)} is already taken on line {line}."
            raise table.wrong(key, what, f"Give each its own {key}.")


def nearest(word: str, valid: Iterable[str]) -> str | None:
    """The valid word most like `word`, or None when none is much like it."""
    found = difflib.get_close_matches(word.lower(), list(valid), n=1, cutoff=0.5)
    return found[0] if found else None


def shown(value: object) -> str:
    """A value as an error may print it: short, and without control characters."""
    text = ascii(value) if isinstance(value, str) and not value.isprintable() else f"{value!s}"
    quoted = f'"{text}"' if isinstance(value, str) else text
    return quoted if len(quoted) <= 60 else quoted[:57] + "..."
