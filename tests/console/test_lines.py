"""Lines typed while other things go on."""

from __future__ import annotations

import asyncio
import io
import os
import sys
from collections.abc import Iterator

import pytest

from blindfield.console.lines import LineReader, typed_lines


def test_bytes_in_any_pieces_become_whole_lines() -> None:
    lines: list[str] = []
    reader = LineReader(lines.append)
    for part in (b"4", b"2 38\r\n\n", b"Zo\xc3", b"\xab\nun", b"", b""):
        reader.feed(part)
    assert lines == ["42 38", "", "Zoë", "un"]


def test_what_is_no_text_is_a_line_all_the_same() -> None:
    lines: list[str] = []
    LineReader(lines.append).feed(b"\xff\xfe\n")
    assert lines == ["\ufffd\ufffd"]


@pytest.fixture
def typed(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """A pipe in place of the keyboard: the end to write to."""
    out, into = os.pipe()
    with os.fdopen(out, "rb", buffering=0) as keyboard:
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(keyboard))
        yield into
        sys.stdin.detach()


async def heard(typed: int, *, twice: bool) -> list[str]:
    lines: asyncio.Queue[str] = asyncio.Queue()
    with typed_lines(lines.put_nowait):
        os.write(typed, b"first\nsec")
        found = [await lines.get()]
        os.write(typed, b"ond\n" if twice else b"")
        os.close(typed)
        found.append(await lines.get())
    return found


@pytest.mark.parametrize(("twice", "second"), [(True, "second"), (False, "sec")])
def test_lines_come_from_the_standard_input_until_it_ends(
    typed: int, twice: bool, second: str
) -> None:
    assert asyncio.run(heard(typed, twice=twice)) == ["first", second]


def test_where_no_descriptor_can_be_watched_a_thread_reads(
    typed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise NotImplementedError

    monkeypatch.setattr(asyncio.SelectorEventLoop, "add_reader", refuse)
    assert asyncio.run(heard(typed, twice=True)) == ["first", "second"]


def test_without_a_standard_input_nothing_comes(monkeypatch: pytest.MonkeyPatch) -> None:
    async def nobody() -> None:
        with typed_lines(pytest.fail):
            await asyncio.sleep(0)

    for absent in (None, io.StringIO("4\n")):
        monkeypatch.setattr(sys, "stdin", absent)
        asyncio.run(nobody())
