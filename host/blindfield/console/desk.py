"""What the commands share: the field's file, key, lock, media and logbook, opened and closed."""

from __future__ import annotations

import argparse
import asyncio
from collections.abc import AsyncIterator, Mapping
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass
from typing import Any

from blindfield.conduct.conductor import Conductor
from blindfield.conduct.crew import Crew, muster
from blindfield.conduct.owner import Owner
from blindfield.conduct.proof import proof_of_silence
from blindfield.conduct.recovery import end_strays, recover
from blindfield.field.settings import find_field, load_field
from blindfield.links.channel import Medium
from blindfield.links.keyfile import read_key
from blindfield.links.medium import open_medium
from blindfield.links.virtual_time import VirtualLoop
from blindfield.logbook.book import Logbook
from blindfield.logbook.writer import Writer
from blindfield.model.field import Field


def add_field_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--field", metavar="PATH", help="the field's file or its folder (default: ./field.toml)"
    )


def add_json_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="print results as JSON")


def field_of(options: argparse.Namespace) -> Field:
    """The field that the command line names. Raises ConfigError."""
    return load_field(find_field(options.field))


@dataclass
class Desk:
    """One field in use by this process. `recovered`: sentences about runs a crash left open."""

    place: Field
    key: bytes
    media: list[Medium]
    logbook: Logbook
    writer: Writer
    crew: Crew
    owner: Owner
    recovered: list[str]

    async def silence(self, _: Mapping[str, Any]) -> Mapping[str, Any]:
        """Silence asked for by another command while no run is open here."""
        for medium in self.media:
            await medium.silence_all()
        return await proof_of_silence(self.place, self.crew)

    def conductor(self) -> Conductor:
        return Conductor(self.place, self.crew, self.media, self.writer)


async def _idle(_: Mapping[str, Any]) -> Mapping[str, Any]:
    return {"phase": "idle"}


@asynccontextmanager
async def open_desk(place: Field, media: list[Medium] | None = None) -> AsyncIterator[Desk]:
    """Take the field (one process at a time), call its devices, take up what a crash left.

    Raises LinkBusy while another process has it, ConfigError, LogbookError.
    """
    key = read_key(place.key_path)
    virtual = isinstance(asyncio.get_running_loop(), VirtualLoop)
    async with AsyncExitStack() as stack:  # undone from the last line to the first
        owner = stack.enter_context(Owner.acquire(place.folder))
        if not virtual:
            stack.push_async_callback(owner.stop)
        logbook = Logbook.open(place.logbook_path, field_key=key)
        stack.callback(logbook.close)
        writer = Writer(logbook, inline=virtual)
        stack.push_async_callback(writer.close)
        ways = media or [open_medium(u, place.folder, place=place, key=key) for u in place.media]
        for medium in ways:
            stack.push_async_callback(medium.close)
        desk = Desk(place, key, ways, logbook, writer, Crew(), owner, [])
        # From the first moment; a run has its own.
        owner.handle("silence", desk.silence)
        owner.handle("status", _idle)
        if not virtual:
            await owner.serve()
        desk.crew = await muster(place, ways, key)
        stack.push_async_callback(desk.crew.close)
        desk.recovered = await recover(place, desk.crew, ways, writer)
        desk.recovered += await end_strays(desk.crew)
        yield desk
