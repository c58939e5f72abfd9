"""What people enter about the field outside runs: who says it, when, and that no run is open."""

from __future__ import annotations

import argparse
import getpass
import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from blindfield.console.blind import refuse_while_open
from blindfield.console.desk import field_of
from blindfield.field.as_built import DEPTH_BAND_M, AsBuilt, BuiltTarget, DepthBand, Flag, as_built
from blindfield.field.settings import DEPTH_RANGE_M
from blindfield.links.keyfile import read_key
from blindfield.logbook.book import Logbook
from blindfield.model.errors import ConfigError
from blindfield.model.events import Event, utc_text
from blindfield.model.field import Field
from blindfield.model.ids import new_host_epoch

NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)")


@dataclass(frozen=True)
class Entries:
    """An open logbook and who speaks; every entry is on disk when `keep` returns."""

    place: Field
    logbook: Logbook
    author: str
    host_epoch: bytes

    def keep(self, kind: str, **data: Any) -> None:
        """An entry of now by the person; values that are None are left out."""
        said = {"author": self.author, "field": self.place.name, **data}
        self.logbook.append(
            Event(
                kind=kind,
                source="person",
                host_epoch=self.host_epoch,
                utc=utc_text(),
                data={name: value for name, value in said.items() if value is not None},
            )
        )

    def events(self) -> list[Event]:
        """What was said and felt outside runs."""
        return self.logbook.past.of_the_field()

    def built(self) -> AsBuilt:
        """The field as it lies now."""
        return as_built(self.place, self.events())

    def refuse_while_open(self) -> None:
        """Raises NotReady while a run is open: what lies stays blind until it is closed."""
        refuse_while_open(self.logbook)


@contextmanager
def open_entries(options: argparse.Namespace) -> Iterator[Entries]:
    """The logbook of the field that the command line names, made when there is none.

    Raises ConfigError, LogbookError, and NotReady while a run is open.
    """
    place = field_of(options)
    author = getattr(options, "by", None) or login_name()
    with Logbook.open(place.logbook_path, field_key=key_of(place)) as logbook:
        entries = Entries(place, logbook, author, new_host_epoch())
        entries.refuse_while_open()
        yield entries


def key_of(place: Field) -> bytes | None:
    """The field's key, None where it cannot be read: entries outside runs need none."""
    try:
        return read_key(place.key_path)
    except ConfigError:
        return None


def add_person_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--by", metavar="NAME", help="who measured (default: the name logged in with)"
    )


def add_band_argument(parser: argparse.ArgumentParser) -> None:
    low_m, high_m = DEPTH_BAND_M
    parser.add_argument(
        "--band",
        nargs=2,
        metavar=("LOW", "HIGH"),
        default=(str(low_m), str(high_m)),
        help=f"depths that the standard practised for allows, metres (default {low_m:g} "
        f"{high_m:g}); a target outside leaves the draw",
    )


def band_of(options: argparse.Namespace) -> DepthBand:
    """The band that the command line names. Raises ConfigError."""
    low_m, high_m = (number_of(text, "a depth") for text in options.band)
    if not DEPTH_RANGE_M[0] <= low_m < high_m <= DEPTH_RANGE_M[1]:
        raise ConfigError(
            f"a band from {low_m:g} to {high_m:g} m is none.",
            remedy=f"Give the lower depth first, both from {DEPTH_RANGE_M[0]:g} to "
            f"{DEPTH_RANGE_M[1]:g} m.",
        )
    return low_m, high_m


def number_of(text: str, what: str) -> float:
    """A number of metres or degrees as people type it: 1.2, 1,2 or 1.2m. Raises ConfigError."""
    plain = text.strip().lower().removesuffix("m").strip()
    if not NUMBER.fullmatch(plain):
        raise ConfigError(f'"{text}" is not {what}.', remedy="Give a number, such as 1.2.")
    value = float(plain.replace(",", "."))
    return value if math.isfinite(value) else math.copysign(1e9, value)


def depth_of(text: str, name: str) -> float:
    """A depth in metres that a target can have. Raises ConfigError."""
    depth_m = number_of(text, "a depth")
    low_m, high_m = DEPTH_RANGE_M
    if low_m <= depth_m <= high_m:
        return depth_m
    meant = f" Did you mean {depth_m / 100:g} m?" if 10 <= depth_m <= 100 * high_m else ""
    raise ConfigError(
        f"target {name} cannot lie {depth_m:g} m deep.",
        remedy=f"A depth is from {low_m:g} to {high_m:g} m, down from the snow surface.{meant}",
    )


def depth_line(one: BuiltTarget, band_m: DepthBand) -> str:
    """A target's depth, who says so and what follows, in one line."""
    target, said = one.target, one.depth_said
    if not target.state.lies:
        return f"{one.name}: {target.state.value}{_by(one.state_said.utc, one.state_said.author)}"
    depth = f"{target.depth_m:.2f} m" if one.depth_known else "depth not known"
    snow = f", snow {one.snow_since_m:+.2f} m since" if one.snow_changed else ""
    state = f", {target.state.value}" + ("" if target.state.may_be_dug else " (not for digging)")
    out = one.out_of_draw(band_m)
    but = ", but for deep problems" if out == Flag.TOO_DEEP.value else ""
    then = f". NOT IN THE DRAW{but}: {out}" if out else ""
    return f"{one.name}: {depth} ({said.source}{_by(said.utc, said.author)}{snow}){state}{then}"


def depth_json(one: BuiltTarget, band_m: DepthBand) -> dict[str, Any]:
    """The same for programs."""
    said = one.depth_said
    return {
        "name": one.name,
        "depth_m": one.target.depth_m if one.depth_known else None,
        "measured_depth_m": one.measured_depth_m if one.depth_known else None,
        "snow_since_m": round(one.snow_since_m, 3),
        "depth_source": said.source,
        "depth_utc": said.utc,
        "depth_by": said.author,
        "state": one.target.state.value,
        "state_utc": one.state_said.utc,
        "state_by": one.state_said.author,
        "flags": list(one.flags(band_m)),
        "in_draw": not one.out_of_draw(band_m),
    }


def _by(utc: str, author: str | None) -> str:
    who = f" by {author}" if author else ""
    return f" {utc[:10]}{who}" if utc else ""


def login_name() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):  # an account without a name
        return "not said"
