"""`blindfield silence`: stop every carrier, whoever asks."""

from __future__ import annotations

import argparse
import asyncio
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from blindfield.conduct.crew import muster
from blindfield.conduct.owner import ask_owner
from blindfield.conduct.proof import proof_of_silence
from blindfield.conduct.used_fields import field_used_last, fields_in_use
from blindfield.console.desk import add_field_argument, add_json_argument
from blindfield.field.as_built import as_built
from blindfield.field.settings import FILE_NAME, find_field, load_field
from blindfield.links.channel import Medium
from blindfield.links.keyfile import read_key
from blindfield.links.medium import open_medium
from blindfield.logbook.book import Logbook
from blindfield.model.errors import BlindfieldError, ConfigError, LinkBusy, NotConfirmedSilent
from blindfield.model.field import Field, Target

OWNER_TIMEOUT_S = 15.0
BY_HAND = (
    "Knock on each by hand, five times, evenly, and listen; or dig it out and take its cells out. "
    "By itself it falls silent 20 minutes after its last start at the very latest."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_field_argument(parser)
    add_json_argument(parser)


def run(options: argparse.Namespace) -> int:
    try:
        told = [_silenced(folder) for folder in _folders(options)]
    except KeyboardInterrupt:
        raise NotConfirmedSilent("broken off: nobody confirmed anything.", remedy=BY_HAND) from None
    if options.json:
        print(json.dumps(_as_json(told)))
    else:
        for one in told:
            _print(one)
    doubtful = [
        name if len(told) == 1 else f"{one.name}: {name}" for one in told for name in one.doubtful
    ]
    if doubtful:
        raise NotConfirmedSilent(f"not confirmed silent: {', '.join(doubtful)}.", remedy=BY_HAND)
    if not options.json:
        print("The field stays silent until `blindfield rearm`.")
    return 0


@dataclass(frozen=True)
class Silenced:
    """What became of one field; `place` None: its file cannot be read. `trouble`: why nothing
    could be tried there at all."""

    name: str
    place: Field | None
    silent: Sequence[str] = ()
    doubtful: Sequence[str] = ()
    trouble: str = ""


def _folders(options: argparse.Namespace) -> list[Path]:
    """The field named; else every field in use on this computer and the one in this folder; else
    the one used last. Raises ConfigError when there is none."""
    if options.field is not None:
        return [_hinted(options)]
    here = [Path()] if Path(FILE_NAME).is_file() else []
    last = field_used_last()
    folders = [*fields_in_use(), *here] or ([last] if last else [_hinted(options)])
    return list(dict.fromkeys(folder.resolve() for folder in folders))


def _hinted(options: argparse.Namespace) -> Path:
    try:
        return find_field(options.field).parent
    except ConfigError as error:
        raise ConfigError(
            error.what,
            remedy="Name the field: blindfield silence --field FOLDER. Or knock on any target by "
            "hand, five times, evenly; or take its cells out.",
        ) from error


def _silenced(folder: Path) -> Silenced:
    """Whoever holds the field is asked before its file is read: a slip of the pen in that file
    must not keep anybody from silence."""
    answer = _ask(folder)
    try:
        place = load_field(folder / FILE_NAME)
    except ConfigError as error:
        if answer is None:
            return Silenced(folder.name, None, doubtful=("all of it",), trouble=str(error))
        return Silenced(folder.name, None, answer["silent"], answer["not_confirmed"])
    if answer is None:
        answer = asyncio.run(silence_field(place))
    return Silenced(place.name, place, answer["silent"], answer["not_confirmed"])


def _ask(folder: Path) -> Mapping[str, Any] | None:
    try:
        return ask_owner(folder, "silence", timeout_s=OWNER_TIMEOUT_S)
    except (LinkBusy, ConfigError):
        return None  # it lives but does not answer: then we send the frame ourselves


def _print(told: Silenced) -> None:
    print(f"{told.name}: confirmed silent: {', '.join(told.silent) or 'NOBODY'}.")
    if told.trouble:
        print(f"  {told.trouble}")
    if told.place is None or not told.place.targets:
        return
    if all(url.startswith("sim:") for url in told.place.media):
        print("  Simulated devices live for one command: the next one starts with new ones.")
    print("  In an accident, where the targets lie (from peg A, along x and y; deep):")
    for target in _lying(told.place):
        print(f"    {target.name}: {target.x_m:.1f} m, {target.y_m:.1f} m; {target.depth_m:.1f} m")


def _lying(place: Field) -> Sequence[Target]:
    """As the logbook knows them; as the field's file says where that cannot be read."""
    try:
        if place.logbook_path.exists():
            with Logbook.open(place.logbook_path, field_key=None, create=False) as logbook:
                return as_built(place, logbook.past.of_the_field()).field.targets
    except BlindfieldError:
        pass
    return place.targets


def _as_json(told: Sequence[Silenced]) -> dict[str, Any]:
    """Of one field its two lists; of several, each under the field's name."""
    rows = [{"silent": list(one.silent), "not_confirmed": list(one.doubtful)} for one in told]
    if len(rows) == 1:
        return rows[0]
    return {"fields": [{"name": one.name, **row} for one, row in zip(told, rows, strict=True)]}


async def silence_field(place: Field) -> dict[str, list[str]]:
    """Silence without an owner: first the frame that needs no key, then, with the key, the proof.

    Names under "silent" and "not_confirmed"; without the key nothing can be confirmed.
    """
    media = [open_medium(url, place.folder, place=place) for url in place.media]
    try:
        for medium in media:
            await medium.silence_all()
        try:
            key = read_key(place.key_path)
        except ConfigError:
            return {"silent": [], "not_confirmed": [target.name for target in place.targets]}
        crew = await muster(place, media, key)
        try:
            return await proof_of_silence(place, crew)
        finally:
            await crew.close()
    finally:
        await _close(media)


async def _close(media: list[Medium]) -> None:
    for medium in media:
        await medium.close()
