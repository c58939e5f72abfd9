"""What the commands share in which one target sends at a time, outside any run."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import shutil
import signal
import sys
import textwrap
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import asynccontextmanager
from typing import Any

from blindfield.conduct.conductor import Conductor
from blindfield.conduct.proof import proof_of_silence
from blindfield.conduct.single import Single
from blindfield.console.blind import refuse_while_open
from blindfield.console.desk import Desk, open_desk
from blindfield.console.lines import typed_lines
from blindfield.field.as_built import AsBuilt, as_built
from blindfield.logbook.book import Logbook
from blindfield.model.errors import NotConfirmedSilent
from blindfield.model.field import Field

Tell = Callable[[str], None]


def add_cautions_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--cautions-read", action="store_true", help="the cautions were read and hold"
    )


def lying(place: Field) -> AsBuilt:
    """The field as it lies today. Raises NotReady while a run is open: it would tell too much."""
    if not place.logbook_path.exists():
        return as_built(place, ())
    with Logbook.open(place.logbook_path, field_key=None) as logbook:
        refuse_while_open(logbook)
        return as_built(place, logbook.past.of_the_field())


@asynccontextmanager
async def one_sends(
    place: Field, begun: list[Single], tell: Tell
) -> AsyncIterator[tuple[Desk, Single]]:
    """An open desk whose targets are idle, watched, and silent in the end, whatever ends it.

    `place` as it lies today. `begun` gets the Single, for whoever asks afterwards who is silent.
    """
    end_when_told()
    async with open_desk(place) as desk:
        single = Single(place, desk.crew, desk.media, desk.writer)
        _serve(desk, single)
        for sentence in (*desk.recovered, *map(str, desk.crew.troubles)):
            tell(sentence)
        begun.append(single)
        try:
            await single.ready()
            async with single.watched():
                with typed_lines(single.type):
                    yield desk, single
        finally:
            await single.finish()


def end_when_told() -> None:
    """Ctrl-C, a closed terminal or a shutdown ends it once; a second press changes nothing, since
    what it would break off is the silencing."""
    task = asyncio.current_task()
    assert task is not None
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            with contextlib.suppress(NotImplementedError):  # Windows: Ctrl-C only
                asyncio.get_running_loop().add_signal_handler(getattr(signal, name), task.cancel)


def confirmed(begun: Sequence[Conductor]) -> None:
    """Raises NotConfirmedSilent, which outranks whatever else ended it."""
    doubtful = [doubt for conductor in begun for doubt in conductor.doubtful.values()]
    if doubtful:
        raise NotConfirmedSilent(
            f"NOT SILENT, or not known: {'; '.join(doubt.where for doubt in doubtful)}.",
            remedy="Knock on each by hand, five times, evenly, and listen; or dig it out. By "
            f"itself it is silent by {max(doubt.until for doubt in doubtful):%H:%M:%S} at the "
            "latest. When it may hear again: `blindfield silence`; then, when all are safe, "
            "`blindfield rearm`.",
        )


def teller(*, as_json: bool) -> Tell:
    """Shows a line to people; with JSON on the standard output, on the other one."""

    def tell(text: str) -> None:
        stream = sys.stderr if as_json else sys.stdout
        if stream.isatty():
            indent = "  " if text.startswith("  ") else ""
            width = shutil.get_terminal_size().columns
            text = textwrap.fill(
                text.strip(), width, initial_indent=indent, subsequent_indent=indent
            )
        print(text, file=stream, flush=True)

    return tell


def _serve(desk: Desk, single: Single) -> None:
    async def silence(_: Mapping[str, Any]) -> Mapping[str, Any]:
        await single.silence("asked for by another command")
        return await proof_of_silence(desk.place, desk.crew)

    async def status(_: Mapping[str, Any]) -> Mapping[str, Any]:
        return {"phase": "one target sends, no run"}

    desk.owner.handle("silence", silence)
    desk.owner.handle("status", status)
