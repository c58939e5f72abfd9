"""NOR flash in memory, whose power can fail at any byte."""

from __future__ import annotations

from typing import TypeAlias

PAGES = 8
PAGE_BYTES = 4096

Data: TypeAlias = bytes | bytearray | memoryview


class PowerCut(Exception):
    """The power went while the flash was being written."""


class SimFlash:
    """A `fieldcore.journal.Store`. Holds its bytes over a power cut, as the chip does.

    Bytes can be written once after an erase, which sets a page to 0xFF. While `bytes_left` is not
    None it counts down the bytes written; then PowerCut is raised, the byte not written. An erase
    counts as two: the power may go before it or in its middle, when half of the page is erased.
    """

    def __init__(self, pages: int = PAGES, page_size: int = PAGE_BYTES) -> None:
        self.pages = pages
        self.page_size = page_size
        self.bytes_left: int | None = None
        self._data = bytearray(b"\xff" * (pages * page_size))

    def read_into(self, offset: int, buf: bytearray) -> None:
        buf[:] = self._data[offset : offset + len(buf)]

    def write(self, offset: int, data: Data) -> None:
        count = self._power_for(len(data))
        old = self._data[offset : offset + count]
        if len(old) != count or old.count(0xFF) != count:
            raise ValueError("a write outside the region, or into bytes not erased")
        self._data[offset : offset + count] = data[:count]
        if count < len(data):
            raise PowerCut

    def erase(self, page: int) -> None:
        steps = self._power_for(2)
        begin = page * self.page_size
        size = self.page_size * steps // 2
        self._data[begin : begin + size] = b"\xff" * size
        if steps < 2:
            raise PowerCut

    def _power_for(self, count: int) -> int:
        """How much of `count` the power still serves."""
        if self.bytes_left is None:
            return count
        served = min(count, self.bytes_left)
        self.bytes_left -= served
        return served
