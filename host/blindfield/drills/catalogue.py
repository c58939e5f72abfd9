"""The kinds of problem that can be drawn: the catalogue shipped, and what a field adds to it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from blindfield.drills.drill import Aid, Drill
from blindfield.drills.reading import read_catalogue
from blindfield.field.toml_table import nearest
from blindfield.model.errors import ConfigError

SHIPPED_FILE = Path(__file__).with_name("catalogue.toml")
OWN_FILE = "drills.toml"


@dataclass(frozen=True)
class Catalogue:
    """`drills` by kind and `aids` by name, in the order of their files."""

    drills: Mapping[str, Drill]
    aids: Mapping[str, Aid]

    def drill_named(self, kind: str) -> Drill:
        """The drill of that kind. Raises ConfigError that names the nearest, or all there are."""
        if kind in self.drills:
            return self.drills[kind]
        raise ConfigError(f"there is no drill {kind!r}.", remedy=_meant(kind, self.drills))

    def aid_named(self, name: str) -> Aid:
        """The aid of that name. Raises ConfigError."""
        if name in self.aids:
            return self.aids[name]
        raise ConfigError(f"there is no aid {name!r}.", remedy=_meant(name, self.aids))


@cache
def shipped() -> Catalogue:
    """The catalogue that comes with the program."""
    drills, aids = read_catalogue(SHIPPED_FILE)
    return Catalogue(drills, aids)


def catalogue_of(folder: Path) -> Catalogue:
    """The shipped catalogue and what `drills.toml` in a field's folder adds.

    Raises ConfigError, with file and line, for a mistake in that file; a kind that exists already
    is one.
    """
    own = folder / OWN_FILE
    if not own.is_file():
        return shipped()
    base = shipped()
    drills, aids = read_catalogue(own, base.drills, base.aids)
    return Catalogue({**base.drills, **drills}, {**base.aids, **aids})


def drill_named(kind: str) -> Drill:
    """The shipped drill of that kind. Raises ConfigError that names the nearest one."""
    return shipped().drill_named(kind)


def _meant(word: str, known: Mapping[str, object]) -> str:
    near = nearest(word, known)
    listed = f"Choose from {', '.join(known)}."
    return f"Did you mean {near}? {listed}" if near else listed


DRILLS: Mapping[str, Drill] = shipped().drills
