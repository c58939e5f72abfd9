"""Reads the lists of tables of `standards.toml` and `steps.toml`.

Every mistake is a ConfigError that names the file, the line, what is wrong and the remedy.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar, cast

from blindfield.field.toml_lines import TomlPath, line_of, toml_lines
from blindfield.field.toml_table import Source, Table, nearest, parse, read_text, shown
from blindfield.model.errors import ConfigError

T = TypeVar("T", bound=str)

_NAME = re.compile(r"[a-z][a-z0-9_]{0,39}")


def tables_of(path: Path, head: str, keys: Sequence[str]) -> list[Table]:
    """The `[[head]]` tables of a file that holds nothing else, each with keys of `keys` only."""
    text = read_text(path)
    document = parse(path, text)
    source = Source(path, _Lines(text))
    for name, value in document.items():
        if name != head:
            near = f"Did you mean [[{head}]]?"
            raise source.wrong((name,), f"{shown(name)} is not known here.", near)
        if not (isinstance(value, list) and all(isinstance(one, dict) for one in value)):
            remedy = f"Write [[{head}]] over each."
            raise source.wrong((name,), f"{name} must be a list of tables.", remedy)
    tables = [
        Table(source, (head, place), values, f"[[{head}]]")
        for place, values in enumerate(document.get(head, []))
    ]
    for table in tables:
        _check_keys(table, keys)
    return tables


class _Lines(dict[TomlPath, int]):
    """Found when the first error asks for one: a file without mistakes needs none."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self._text = text

    def __contains__(self, path: object) -> bool:
        if not len(self):
            self.update(toml_lines(self._text))
        return super().__contains__(path)


def _check_keys(table: Table, keys: Sequence[str]) -> None:
    for key in table.values:
        if key not in keys:
            near = nearest(key, keys)
            remedy = f"Did you mean {near}?" if near else f"Known keys: {', '.join(keys)}."
            raise table.wrong(key, f"{shown(key)} is not a known key.", remedy)


def by_name(tables: Sequence[Table], taken: Mapping[str, object]) -> dict[str, Table]:
    """The tables by their `name`, none of which may be another's or one of `taken`."""
    found: dict[str, Table] = {}
    for table in tables:
        name = table.text("name", '"my_own"')
        if not _NAME.fullmatch(name):
            remedy = "Use small letters, digits and _, at most 40, a letter first."
            raise table.wrong("name", f"{shown(name)} cannot be a name.", remedy)
        if name in found:
            line = line_of(table.source.lines, (*found[name].where, "name"))
            what = f"the name {name} is already taken on line {line}."
            raise table.wrong("name", what, "Choose another.")
        if name in taken:
            what = f"the name {name} belongs to one that comes with the program."
            raise table.wrong("name", what, "Choose another.")
        found[name] = table
    return found


def whole(table: Table, key: str, span: tuple[int, int], default: int | None = None) -> int:
    """A whole number within `span` inclusive."""
    low, high = span
    value = table.values.get(key, default)
    if value is None:
        table.need(key, f"Add a line {key} = with a whole number from {low} to {high}.")
    if type(value) is not int or not low <= value <= high:
        what = f"{key} cannot be {shown(value)}."
        raise table.wrong(key, what, f"Write a whole number from {low} to {high}.")
    return value


def flag(table: Table, key: str, *, default: bool) -> bool:
    value = table.values.get(key, default)
    if isinstance(value, bool):
        return value
    raise table.wrong(key, f"{key} cannot be {shown(value)}.", "Write true or false.")


def word(table: Table, key: str, choices: Sequence[T], default: T | None = None) -> T:
    """One of `choices`."""
    if default is None:
        table.need(key, f"Write one of {_listed(choices)}.")
    value = table.values.get(key, default)
    if value in choices:
        return cast(T, value)
    raise no_choice(table, key, value, choices)


def words(table: Table, key: str, choices: Sequence[str]) -> tuple[str, ...]:
    """Several of `choices`, each once; none without the key."""
    value = table.values.get(key, [])
    if not isinstance(value, list):
        raise table.wrong(key, f"{key} must be a list.", f'Write {key} = ["..."]')
    for one in value:
        if one not in choices:
            raise no_choice(table, key, one, choices)
        if value.count(one) > 1:
            raise table.wrong(key, f"{key} names {shown(one)} twice.", "Name it once.")
    return tuple(value)


def numbers(
    table: Table, key: str, count: int, span: tuple[float, float], example: str
) -> tuple[float, ...]:
    """A list of `count` numbers within `span` inclusive."""
    value: Any = table.need(key, f"Add a line {key} = {example}")
    plain = isinstance(value, list) and all(type(one) in (int, float) for one in value)
    if plain and len(value) == count and all(span[0] <= one <= span[1] for one in value):
        return tuple(float(one) for one in value)
    what = f"{key} cannot be {shown(value)}."
    remedy = f"Write {count} numbers from {span[0]:g} to {span[1]:g}, such as {key} = {example}"
    raise table.wrong(key, what, remedy)


def no_choice(table: Table, key: str, value: object, choices: Sequence[str]) -> ConfigError:
    """The error for what is none of `choices`, with the nearest that is."""
    near = nearest(str(value), choices)
    remedy = f'Did you mean "{near}"?' if near else f"Write one of {_listed(choices)}."
    return table.wrong(key, f"{key} cannot be {shown(value)}.", remedy)


def _listed(choices: Sequence[str]) -> str:
    return ", ".join(f'"{one}"' for one in choices)
