"""On which line of a TOML text does a key stand? tomllib tells values, not places.

A path is a tuple of keys and list positions, as one would index the parsed document:
`("target", 2, "depth_m")`. What stands inside a value (an inline table, an entry of a list) is
given the line on which the statement begins, even where the value goes on below it.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from typing import Any

TomlPath = tuple[str | int, ...]

# Strings and comments are one token each, so that brackets and line ends in them do not count.
_TOKEN = re.compile(
    r'''(?P<opaque>\#[^\n]*|"""(?:\\[\s\S]|[^\\])*?"{3,5}|\'{3}[\s\S]*?\'{3,5}'''
    r"""|"(?:\\.|[^"\\\n])*"|'[^'\n]*')"""
    r"""|(?P<open>[\[{])|(?P<close>[\]}])|(?P<end>\n)|[^\#"'\[\]{}\n]+|."""
)


def toml_lines(text: str) -> dict[TomlPath, int]:
    """The line (from 1) of every key and table of `text`, which must be valid TOML."""
    lines: dict[TomlPath, int] = {(): 1}
    newest: dict[TomlPath, int] = {}
    table: TomlPath = ()
    for line, statement in _statements(text):
        parsed = tomllib.loads(statement)
        if statement.startswith("["):
            table = _table_path(parsed, newest)
            for length in range(1, len(table) + 1):
                lines.setdefault(table[:length], line)
            continue
        for path in _paths(parsed):
            lines.setdefault(table + path, line)
    return lines


def line_of(lines: dict[TomlPath, int], path: TomlPath) -> int:
    """The line of `path`, or of the nearest thing around it that the text spells out."""
    while path not in lines:
        path = path[:-1]
    return lines[path]


def _statements(text: str) -> Iterator[tuple[int, str]]:
    """Each header or `key = value` with the line it begins on, comments left in."""
    line = first_line = 1
    begin = depth = 0
    for token in _TOKEN.finditer(text + "\n"):
        depth += (token.lastgroup == "open") - (token.lastgroup == "close")
        line += token.group().count("\n")
        if token.lastgroup != "end" or depth:
            continue
        statement = text[begin : token.start()].strip()
        if statement and not statement.startswith("#"):
            yield first_line, statement
        begin, first_line = token.end(), line


def _table_path(parsed: dict[str, Any], newest: dict[TomlPath, int]) -> TomlPath:
    """The path a parsed header names; `newest` counts the entries of each `[[list]]` so far."""
    path: TomlPath = ()
    inner: Any = parsed
    while inner:
        (key,) = inner
        path, inner = (*path, key), inner[key]
        if isinstance(inner, list):
            newest[path] = newest.get(path, -1) + 1
            return (*path, newest[path])
        if path in newest:
            path = (*path, newest[path])
    return path


def _paths(value: Any) -> Iterator[TomlPath]:
    """Every path inside a parsed value, the shorter first."""
    entries: Any = ()
    if isinstance(value, dict):
        entries = value.items()
    elif isinstance(value, list):
        entries = enumerate(value)
    for key, inner in entries:
        yield (key,)
        for path in _paths(inner):
            yield (key, *path)
