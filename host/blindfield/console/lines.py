"""Lines typed at the terminal while other things go on: nobody waits for a hand."""

from __future__ import annotations

import asyncio
import os
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

_MOST_BYTES = 4096


class LineReader:
    """Bytes in, whole lines out to `take`; what is no text is shown as such, not lost."""

    def __init__(self, take: Callable[[str], None]) -> None:
        self._take = take
        self._begun = b""

    def feed(self, data: bytes) -> None:
        """No bytes: the input has ended, and what was begun is a line too."""
        if not data and not self._begun:
            return
        *whole, self._begun = (self._begun + data + (b"" if data else b"\n")).split(b"\n")
        for line in whole:
            self._take(line.decode("utf-8", "replace").strip())


@contextmanager
def typed_lines(take: Callable[[str], None]) -> Iterator[None]:
    """While it lasts every line of the standard input is handed to `take`, on the loop.

    Where nobody can type (no standard input) nothing comes.
    """
    loop = asyncio.get_running_loop()
    reader = LineReader(take)
    try:
        source = sys.stdin.fileno()
    except (AttributeError, OSError, ValueError):
        yield
        return

    def read() -> None:
        data = _read(source)
        reader.feed(data)
        if not data:
            loop.remove_reader(source)

    try:
        loop.add_reader(source, read)
    except (NotImplementedError, PermissionError):  # Windows; a plain file as standard input
        _read_in_thread(loop, source, reader)
        yield
        return
    try:
        yield
    finally:
        loop.remove_reader(source)


def _read(source: int) -> bytes:
    try:
        return os.read(source, _MOST_BYTES)
    except OSError:
        return b""


def _read_in_thread(loop: asyncio.AbstractEventLoop, source: int, reader: LineReader) -> None:
    def run() -> None:
        data = b"?"
        while data:
            data = _read(source)
            try:
                loop.call_soon_threadsafe(reader.feed, data)
            except RuntimeError:  # the loop has ended: nobody listens any more
                return

    threading.Thread(target=run, name="typed lines", daemon=True).start()
