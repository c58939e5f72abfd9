"""`blindfield silence`: stop every carrier, whoever asks."""

from __future__ import annotations

import argparse
import asyncio
import json
import sys
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from blindfield.conduct.crew import muster
from blindfield.conduct.owner import ask_owner
from blindfield.conduct.proof import proof_of_silence
from blindfield.conduct.used_fields import field_used_last, fields_in_use
from blindfield.console.desk import add_field_argument, add_json_argument, field_of
from blindfield.field.settings import FILE_NAME, load_field
from blindfield.links.channel import Medium
from blindfield.links.keyfile import read_key
from blindfield.links.medium import open_medium
from blindfield.model.errors import ConfigError, LinkBusy, NotConfirmedSilent
from blindfield.model.field import Field

OWNER_TIMEOUT_S = 15.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_field_argument(parser)
    add_json_argument(parser)


def run(options: argparse.Namespace) -> int:
    results = {name: _silence(place) for name, place in _named(_places(options)).items()}
    doubtful = [
        name if len(results) == 1 else f"{field}: {name}"
        for field, result in results.items()
        for name in result["not_confirmed"]
    ]
    if options.json:
        print(json.dumps(_as_json(results)))
    else:
        for field, result in results.items():
            silent = ", ".join(result["silent"]) or "none"
            print(f"{field}: silence sent. Confirmed silent: {silent}.")
    if doubtful:
        raise NotConfirmedSilent(
            f"not confirmed silent: {', '.join(doubtful)}.",
            remedy="Knock on each by hand, five times, evenly, or dig it out and take its cells "
            "out. By itself it falls silent 20 minutes after its last start at the very latest.",
        )
    if not options.json:
        print("The field stays silent until `blindfield rearm`.")
    return 0


def _places(options: argparse.Namespace) -> list[Field]:
    """The field named; else every field in use on this computer and the one in this folder; else
    the one used last. Raises ConfigError when there is none."""
    if options.field is not None:
        return [_hinted(field_of, options)]
    here = [Path()] if Path(FILE_NAME).is_file() else []
    folders = [*fields_in_use(), *here] or [folder for folder in [field_used_last()] if folder]
    places: dict[Path, Field] = {}
    for folder in folders:
        try:
            place = load_field(folder / FILE_NAME)
        except ConfigError as error:
            print(f"blindfield: {error}", file=sys.stderr)
            continue
        places[place.folder.resolve()] = place
    return list(places.values()) or [_hinted(field_of, options)]


def _named(places: Sequence[Field]) -> dict[str, Field]:
    """Each under its name, with its folder where two have the same."""
    names = Counter(place.name for place in places)
    return {
        place.name if names[place.name] == 1 else f"{place.name} in {place.folder}": place
        for place in places
    }


def _hinted(find: Callable[[argparse.Namespace], Field], options: argparse.Namespace) -> Field:
    try:
        return find(options)
    except ConfigError as error:
        raise ConfigError(
            error.what,
            remedy="Name the field: blindfield silence --field FOLDER. Or knock on any target by "
            "hand, five times, evenly; or take its cells out.",
        ) from error


def _silence(place: Field) -> Mapping[str, list[str]]:
    try:
        answer = ask_owner(place.folder, "silence", timeout_s=OWNER_TIMEOUT_S)
    except (LinkBusy, ConfigError):
        answer = None  # it lives but does not answer: then we send the frame ourselves
    return answer if answer is not None else asyncio.run(silence_field(place))


def _as_json(results: Mapping[str, Mapping[str, list[str]]]) -> dict[str, Any]:
    """Of one field its two lists; of several, each under the field's name."""
    told = {
        field: {word: result[word] for word in ("silent", "not_confirmed")}
        for field, result in results.items()
    }
    return next(iter(told.values())) if len(told) == 1 else {"fields": told}


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
