"""Reads a file of drills. Every mistake is a ConfigError with file, line, what and remedy."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar, cast, get_args

from blindfield.drills.drill import (
    DISTANCES,
    EFFECTS,
    RHYTHMS,
    SECONDS,
    Aid,
    Drill,
    Shares,
)
from blindfield.field.toml_lines import toml_lines
from blindfield.field.toml_table import Source, Table, nearest, parse, read_text, shown
from blindfield.model.errors import ConfigError
from blindfield.model.scenario import Until, Work

T = TypeVar("T", bound=str)

WORKS: tuple[Work, ...] = get_args(Work)
UNTILS: tuple[Until, ...] = get_args(Until)
MOST_TARGETS = 8
DEPTH_RANGE_M = (0.0, 3.0)
CLOSE_RANGE_M = (0.5, 50.0)
_HEADERS = {"drill": "[[drill]]", "aid": "[[aid]]"}
_TEXTS = ("purpose", "watch", "geometry", "timing", "cautions")
_KEYS = {
    "drill": (
        *("kind", "title", *_TEXTS, "work", "targets", "told", "distance", "close_m"),
        *("deeper_than_m", "first_at_share", "second", "second_at_share", "out_at_share"),
        *("out_for_share", "pulses", "marking", "until", "briefing", "after", "drawn"),
    ),
    "aid": ("name", "title", "purpose", "effect"),
}
_EXAMPLES = {"kind": '"my_pair"', "name": '"my_aid"', "title": '"Two targets at the edge"'}


def read_catalogue(
    path: Path, drills: Mapping[str, Drill] | None = None, aids: Mapping[str, Aid] | None = None
) -> tuple[dict[str, Drill], dict[str, Aid]]:
    """What `path` adds to `drills` and `aids`. Raises ConfigError on the first mistake."""
    text = read_text(path)
    document = parse(path, text)
    source = Source(path, _Lazily(text))
    for name, value in document.items():
        _check_tables(source, name, value)
    found = {
        name: [Table(source, (name, place), entry, _HEADERS[name]) for place, entry in enumerate(e)]
        for name, e in document.items()
    }
    new_drills = _by_name(found.get("drill", []), "kind", drills or {})
    made = {kind: _drill(table) for kind, table in new_drills.items()}
    for kind, table in new_drills.items():
        _check_after(table, made[kind], {**(drills or {}), **made})
    new_aids = _by_name(found.get("aid", []), "name", aids or {})
    return made, {name: _aid(table) for name, table in new_aids.items()}


class _Lazily(dict[Any, int]):
    """The lines of a text, looked up when the first error needs one: a right file needs none."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self._text: str | None = text

    def _fill(self) -> None:
        if self._text is not None:
            self.update(toml_lines(self._text))
            self._text = None

    def __contains__(self, key: object) -> bool:
        self._fill()
        return super().__contains__(key)

    def __getitem__(self, key: Any) -> int:
        self._fill()
        return super().__getitem__(key)


def _check_tables(source: Source, name: str, value: Any) -> None:
    if name not in _KEYS:
        near = nearest(name, _KEYS)
        remedy = f"Did you mean {_HEADERS[near or 'drill']}?"
        raise source.wrong((name,), f"{shown(name)} is not known here.", remedy)
    if not (isinstance(value, list) and all(isinstance(entry, dict) for entry in value)):
        raise source.wrong(
            (name,), f"{name} must be a list of tables.", f"Write {_HEADERS[name]} over each."
        )
    for place, entry in enumerate(value):
        _check_keys(Table(source, (name, place), entry, _HEADERS[name]), _KEYS[name])


def _check_keys(table: Table, valid: Sequence[str]) -> None:
    for key in table.values:
        if key not in valid:
            near = nearest(key, valid)
            remedy = f"Did you mean {near}?" if near else f"Known keys: {', '.join(valid)}."
            raise table.wrong(key, f"{shown(key)} is not a known key.", remedy)


def _by_name(tables: Sequence[Table], key: str, taken: Mapping[str, object]) -> dict[str, Table]:
    found: dict[str, Table] = {}
    for table in tables:
        name = table.text(key, _EXAMPLES[key])
        if not re.fullmatch(r"[a-z][a-z0-9_]{0,31}", name):
            remedy = "Use small letters, digits and _, at most 32, a letter first."
            raise table.wrong(key, f"{shown(name)} cannot be a {key}.", remedy)
        if name in found or name in taken:
            raise table.wrong(key, f"there is a {key} {name} already.", "Choose another name.")
        found[name] = table
    return found


def _drill(table: Table) -> Drill:
    number = table.optional_number
    drill = Drill(
        kind=table.text("kind", _EXAMPLES["kind"]),
        title=table.text("title", _EXAMPLES["title"]),
        work=_words(table, "work", WORKS),
        targets=_targets(table),
        **{key: table.text(key, '"..."') for key in _TEXTS},
        told=_flag(table, "told"),
        distance=_word(table, "distance", DISTANCES),
        close_m=number("close_m", CLOSE_RANGE_M) or 0.0,
        deeper_than_m=number("deeper_than_m", DEPTH_RANGE_M),
        first_at_share=_shares(table, "first_at_share"),
        second=_word(table, "second", SECONDS),
        second_at_share=_shares(table, "second_at_share"),
        out_at_share=_shares(table, "out_at_share"),
        out_for_share=_shares(table, "out_for_share"),
        pulses=_word(table, "pulses", RHYTHMS),
        marking=_flag(table, "marking"),
        until=_word(table, "until", UNTILS),
        briefing=table.text("briefing", '"..."') if "briefing" in table.values else "",
        after=_texts(table, "after"),
        drawn=_flag(table, "drawn"),
    )
    _check_whole(table, drill)
    return drill


def _aid(table: Table) -> Aid:
    name, title = (table.text(key, _EXAMPLES[key]) for key in ("name", "title"))
    table.need("effect", f"Write one of {_listed(EFFECTS)}.")
    return Aid(name, title, table.text("purpose", '"..."'), _word(table, "effect", EFFECTS))


def _check_whole(table: Table, drill: Drill) -> None:
    """What two keys together must not say."""
    for wrong, key, what, remedy in (*_of_number(drill), *_of_time(drill)):
        if wrong:
            # Where a key that was left out is at fault, the table's own line is the nearest.
            raise table.wrong(key, what, remedy)


_Rule = tuple[bool, str, str, str]


def _of_number(drill: Drill) -> tuple[_Rule, ...]:
    nobody, several = 0 in drill.targets, max(drill.targets) > 1
    return (
        (
            nobody != (drill.work == ("dig only",)),
            "targets",
            'no target sends in "dig only", and only there.',
            'Write targets = 0 and work = ["dig only"].',
        ),
        (
            (nobody or not drill.told) and drill.until != "done",
            "targets",
            "where nobody sends, or how many is not told, a run ends when a person says done.",
            'Write until = "done".',
        ),
        (
            not several and drill.distance != "any",
            "distance",
            "a distance needs two targets.",
            "Write targets = 2.",
        ),
        (
            not several and drill.needs_word,
            "second",
            "a second signal needs two targets.",
            "Write targets = 2.",
        ),
        (
            (drill.distance == "close") != (drill.close_m > 0),
            "distance" if drill.distance == "close" else "close_m",
            'distance = "close" and close_m go together.',
            "Write both, or none.",
        ),
    )


def _of_time(drill: Drill) -> tuple[_Rule, ...]:
    return (
        (
            drill.needs_word != (drill.second_at_share is not None),
            "second" if drill.needs_word else "second_at_share",
            "a second signal that waits for a word, and second_at_share, when it comes where the "
            "word does not get through, go together.",
            'Write second = "word" and second_at_share = [0.25, 0.6], or none.',
        ),
        (
            (drill.out_at_share is None) != (drill.out_for_share is None),
            "out_at_share" if drill.out_at_share else "out_for_share",
            "out_at_share and out_for_share go together.",
            "Write both, or none.",
        ),
    )


def _check_after(table: Table, drill: Drill, known: Mapping[str, Drill]) -> None:
    for kind in drill.after:
        if kind not in known or kind == drill.kind:
            near = nearest(kind, known)
            remedy = f"Did you mean {near}?" if near else "Name kinds of this catalogue."
            raise table.wrong("after", f"{shown(kind)} is no other kind.", remedy)


def _targets(table: Table) -> tuple[int, ...]:
    value = table.need("targets", "Add a line targets = 2")
    numbers = value if isinstance(value, list) else [value]
    right = all(type(one) is int and 0 <= one <= MOST_TARGETS for one in numbers)
    if not numbers or not right or (0 in numbers and len(numbers) > 1):
        what = f"targets cannot be {shown(value)}."
        remedy = f"Write a number from 0 to {MOST_TARGETS}, or a list such as [2, 3]."
        raise table.wrong("targets", what, remedy)
    return tuple(numbers)


def _shares(table: Table, key: str) -> Shares | None:
    value = table.values.get(key)
    if value is None:
        return None
    right = isinstance(value, list) and len(value) == 2
    if right and all(type(one) in (int, float) for one in value) and 0 <= value[0] <= value[1] <= 1:
        return float(value[0]), float(value[1])
    what = f"{key} cannot be {shown(value)}."
    raise table.wrong(key, what, f"Write two shares of the time limit: {key} = [0.25, 0.6]")


def _flag(table: Table, key: str) -> bool:
    value = table.values.get(key, True)
    if isinstance(value, bool):
        return value
    raise table.wrong(key, f"{key} cannot be {shown(value)}.", "Write true or false.")


def _word(table: Table, key: str, choices: Sequence[T]) -> T:
    """One of `choices`; without the key the first."""
    value = table.values.get(key, choices[0])
    if value in choices:
        return cast(T, value)
    raise _no_choice(table, key, value, choices)


def _words(table: Table, key: str, choices: Sequence[T]) -> tuple[T, ...]:
    table.need(key, f'Add a line such as {key} = ["{choices[0]}"]')
    values = _texts(table, key)
    for value in values:
        if value not in choices:
            raise _no_choice(table, key, value, choices)
    if not values:
        raise table.wrong(key, f"{key} is empty.", f"Write one or more of {_listed(choices)}.")
    return cast(tuple[T, ...], values)


def _no_choice(table: Table, key: str, value: object, choices: Sequence[str]) -> ConfigError:
    near = nearest(str(value), choices)
    remedy = f'Did you mean "{near}"?' if near else f"Write one of {_listed(choices)}."
    return table.wrong(key, f"{key} cannot be {shown(value)}.", remedy)


def _texts(table: Table, key: str) -> tuple[str, ...]:
    value = table.values.get(key, [])
    if isinstance(value, list) and all(isinstance(one, str) for one in value):
        return tuple(value)
    raise table.wrong(key, f"{key} must be a list of texts.", f'Write {key} = ["..."]')


def _listed(choices: Sequence[str]) -> str:
    return ", ".join(f'"{one}"' for one in choices)
