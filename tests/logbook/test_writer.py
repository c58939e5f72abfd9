"""The writer's thread: in order, on disk before the answer, errors to the one who asked."""

from __future__ import annotations

import asyncio
import sqlite3
import threading
from pathlib import Path

import pytest

from blindfield.logbook.book import Logbook
from blindfield.logbook.writer import Writer
from blindfield.model.errors import LogbookError
from blindfield.model.events import Event
from support.logbook_kit import note, run_id, strike, summary, with_open_run

BOTH = pytest.mark.parametrize("inline", [False, True])


def _texts(book: Logbook) -> list[str]:
    return [event.data["text"] for event in book.events_of(None)]


@BOTH
def test_order_is_kept_and_the_ids_come_back(book: Logbook, inline: bool) -> None:
    async def use() -> list[int]:
        writer = Writer(book, inline=inline)
        numbers = await asyncio.gather(*(writer.append(note(None, str(n))) for n in range(200)))
        await writer.close()
        return numbers

    numbers = asyncio.run(use())
    assert numbers == [event.id for event in book.events_of(None)]
    assert _texts(book) == [str(n) for n in range(200)]


@BOTH
def test_an_answer_comes_after_the_disk_has_it(book: Logbook, path: Path, inline: bool) -> None:
    async def use() -> list[tuple[int]]:
        writer = Writer(book, inline=inline)
        number = await writer.append(note(None, "x"))
        other = sqlite3.connect(path)
        seen = other.execute("SELECT id FROM events").fetchall()
        other.close()
        await writer.close()
        assert seen == [(number,)]
        return seen

    assert asyncio.run(use())


@BOTH
def test_one_bad_event_fails_alone(book: Logbook, inline: bool) -> None:
    async def use() -> list[int | BaseException]:
        writer = Writer(book, inline=inline)
        events = [note(None, "a"), note(run_id(9), "never drawn"), note(None, "b")]
        results = await asyncio.gather(*map(writer.append, events), return_exceptions=True)
        await writer.close()
        return results

    first, error, last = asyncio.run(use())
    assert isinstance(error, LogbookError)
    assert (first, last) == (1, 2)
    assert _texts(book) == ["a", "b"]


@BOTH
def test_a_close_of_a_run_takes_its_turn_among_the_events(book: Logbook, inline: bool) -> None:
    run = with_open_run(book)

    async def use() -> str:
        writer = Writer(book, inline=inline)
        before = [writer.append(strike(run, seq)) for seq in range(30)]
        closing = writer.close_run(run, summary(run))
        await asyncio.gather(*before, closing, writer.append(strike(run, 99)))
        where = await writer.call(lambda _book: threading.current_thread().name)
        await writer.close()
        return where

    assert (asyncio.run(use()) == "logbook") is not inline
    assert book.open_runs() == []
    assert [one.device_key.seq for one in book.events_of(run) if one.device_key] == [
        *range(30),
        99,
    ]


def test_the_close_finishes_what_was_asked_for_and_nothing_is_taken_afterwards(
    book: Logbook,
) -> None:
    async def use() -> None:
        writer = Writer(book)
        asked = [asyncio.ensure_future(writer.append(note(None, str(n)))) for n in range(100)]
        await asyncio.sleep(0)  # the tasks hand their events over
        await writer.close()
        await writer.close()
        assert all(one.done() for one in asked)
        with pytest.raises(LogbookError, match="closed"):
            await writer.append(note(None, "late"))

    asyncio.run(use())
    assert len(_texts(book)) == 100
    assert "logbook" not in [thread.name for thread in threading.enumerate()]


def test_a_caller_who_gives_up_does_not_undo_the_event(book: Logbook) -> None:
    async def use() -> None:
        writer = Writer(book)
        with book.database.reading():  # holds the thread up
            waiting = asyncio.ensure_future(writer.append(note(None, "kept")))
            await asyncio.sleep(0)
            waiting.cancel()
        await writer.append(note(None, "next"))
        await writer.close()
        assert waiting.cancelled()

    asyncio.run(use())
    assert _texts(book) == ["kept", "next"]


class _CountingBook:
    """Counts the transactions; each event gets its place as id."""

    def __init__(self) -> None:
        self.sizes: list[int] = []
        self.gate = threading.Event()

    def append(self, event: Event) -> int:
        return self.append_many([event])[0]

    def append_many(self, events: list[Event]) -> list[int]:
        self.gate.wait()
        self.sizes.append(len(events))
        return list(range(len(events)))


def test_events_that_wait_together_share_a_synchronisation() -> None:
    async def use() -> list[int]:
        book = _CountingBook()
        writer = Writer(book)  # type: ignore[arg-type]
        asked = [asyncio.ensure_future(writer.append(note(None, "x"))) for _ in range(200)]
        await asyncio.sleep(0)
        book.gate.set()
        await asyncio.gather(*asked)
        await writer.close()
        return book.sizes

    sizes = asyncio.run(use())
    assert sum(sizes) == 200
    assert max(sizes) == 64
    assert len(sizes) < 10
