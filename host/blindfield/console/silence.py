"""`blindfield silence`: stop every carrier, whoever asks."""

from __future__ import annotations

import argparse
import asyncio
import json

from blindfield.conduct.crew import muster
from blindfield.conduct.owner import ask_owner
from blindfield.conduct.proof import proof_of_silence
from blindfield.console.desk import add_field_argument, add_json_argument, field_of
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
    try:
        place = field_of(options)
    except ConfigError as error:
        raise ConfigError(
            error.what,
            remedy="Name the field: blindfield silence --field FOLDER. Or knock on any target by "
            "hand, five times, evenly; or take its cells out.",
        ) from error
    try:
        answer = ask_owner(place.folder, "silence", timeout_s=OWNER_TIMEOUT_S)
    except (LinkBusy, ConfigError):
        answer = None  # it lives but does not answer: then we send the frame ourselves
    result = answer if answer is not None else asyncio.run(silence_field(place))
    silent, doubtful = result["silent"], result["not_confirmed"]
    if options.json:
        print(json.dumps({"silent": silent, "not_confirmed": doubtful}))
    else:
        print(f"Silence sent. Confirmed silent: {', '.join(silent) or 'none'}.")
    if doubtful:
        raise NotConfirmedSilent(
            f"not confirmed silent: {', '.join(doubtful)}.",
            remedy="Knock on each by hand, five times, evenly, or dig it out and take its cells "
            "out. By itself it falls silent 20 minutes after its last start at the very latest.",
        )
    if not options.json:
        print("The field stays silent until `blindfield rearm`.")
    return 0


async def silence_field(place: Field) -> dict[str, list[str]]:
    """Silence without an owner: first the frame that needs no key, then, with the key, the proof.

    Names under "silent" and "not_confirmed"; without the key nothing can be confirmed.
    """
    media = [open_medium(url, place.folder) for url in place.media]
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
