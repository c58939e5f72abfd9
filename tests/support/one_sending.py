"""Commands in which one target sends at a time: a hand at the terminal, and a look at the air."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import pairwise

import pytest

from blindfield.console import one_sends
from blindfield.field.as_built import as_built
from blindfield.links.sim.field import SimField
from blindfield.logbook.book import Logbook
from blindfield.model.events import Event
from support.in_process import InProcess, Script

SPELL_GAP_S = 1.4  # longer than any keying period
LONGEST_S = 4000.0
Spell = tuple[float, float, str]


class Hand:
    """Types at the terminal of the command under way; `words` are typed once it listens."""

    def __init__(self) -> None:
        self._take: Callable[[str], None] | None = None

    @contextmanager
    def listening(self, take: Callable[[str], None]) -> Iterator[None]:
        self._take = take
        try:
            yield
        finally:
            self._take = None

    async def types(self, *lines: str, apart_s: float = 1.0) -> None:
        while self._take is None:
            await asyncio.sleep(0.1)
        for line in lines:
            self._take(line)
            await asyncio.sleep(apart_s)


@contextmanager
def a_hand(patch: pytest.MonkeyPatch) -> Iterator[Hand]:
    hand = Hand()
    patch.setattr(one_sends, "typed_lines", hand.listening)
    yield hand


def spells(sim: SimField) -> list[Spell]:
    """(from, to, name) of each time that a target sent, in order."""
    found: list[Spell] = []
    for name in sim.devices:
        begun_s = last_s = None
        for start_s, *_ in sim.carrier_log(name):
            if begun_s is None or last_s is None:
                begun_s = start_s
            elif start_s - last_s > SPELL_GAP_S:
                found.append((begun_s, last_s, name))
                begun_s = start_s
            last_s = start_s
        if begun_s is not None and last_s is not None:
            found.append((begun_s, last_s, name))
    return sorted(found)


def one_at_a_time(sim: SimField) -> bool:
    """Whether no two targets ever sent at once: one's first pulse came after the other's last."""
    found = spells(sim)
    return all(
        earlier[1] < later[0] for earlier, later in pairwise(found) if earlier[2] != later[2]
    )


async def until_one_sends(here: InProcess, name: str) -> None:
    """Wait until this target sends; fails when another one does so for a minute instead."""
    for _ in range(1200):
        if here.sim.sending(name):
            return
        await asyncio.sleep(0.1)
    raise AssertionError(f"{name} does not send: {spells(here.sim)}")


def commanding(tasks: set[asyncio.Task[object]]) -> asyncio.Task[object]:
    """The command's own task, as Ctrl-C cancels it."""
    return next(task for task in tasks if getattr(task.get_coro(), "__name__", "") == "both")


def guarded(script: Script) -> Script:
    """The script; when it fails, or the command goes on for long after it, that is given up: it
    would wait for ever for a hand."""

    async def run() -> None:
        try:
            await script()
            await asyncio.sleep(LONGEST_S)
            raise AssertionError("the command waits for something that nobody does")
        except AssertionError:
            commanding(asyncio.all_tasks()).cancel()
            raise

    return run


def fetch(here: InProcess, *words: str, script: Script | None = None) -> tuple[int, str, str]:
    return here.call("fetch", "--cautions-read", *words, script=script and guarded(script))


def states(here: InProcess) -> list[Event]:
    with Logbook.open(here.place.logbook_path, field_key=None) as book:
        return [event for event in book.events_of(None) if event.kind == "state"]


def still_lying(here: InProcess) -> list[str]:
    with Logbook.open(here.place.logbook_path, field_key=None) as book:
        built = as_built(here.place, book.events_of(None))
    return [one.name for one in built.targets if one.target.state.lies]


async def dig(here: InProcess, *names: str) -> None:
    for name in names:
        await until_one_sends(here, name)
        await asyncio.sleep(60)
        here.sim.lift(name)


async def until_quiet(here: InProcess, name: str) -> None:
    while here.sim.sending(name):
        await asyncio.sleep(1)
