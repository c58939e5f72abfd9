"""NOR flash in memory whose power can be cut at any byte, and shorthand for journals upon it."""

import random
import struct

from fieldcore.journal import RECORD, RESERVE, Journal

BOOT, STRIKE, SILENCED, REARMED = 1, 2, 5, 6


class PowerCutError(Exception):
    pass


class Flash:
    """NOR flash in memory. `budget` counts down bytes written, then the power goes.

    An erase costs two: cut before, or in the middle (one half blank, `erased_half` says which).
    """

    def __init__(self, pages: int = 3, page_size: int = 256, erased_half: int = 0) -> None:
        self.pages = pages
        self.page_size = page_size
        self.data = bytearray(b"\xff" * (pages * page_size))
        self.budget = -1
        self.reads = 0
        self.erases = 0
        self.erased_half = erased_half

    def read_into(self, offset: int, buf: bytearray) -> None:
        self.reads += 1
        buf[:] = self.data[offset : offset + len(buf)]

    def _spend(self) -> None:
        if self.budget == 0:
            raise PowerCutError
        self.budget -= 1

    def write(self, offset: int, data: bytearray) -> None:
        for i, value in enumerate(data):
            self._spend()
            assert self.data[offset + i] == 0xFF, "written twice without an erase"
            self.data[offset + i] = value

    def erase(self, page: int) -> None:
        self._spend()
        self.erases += 1
        start = page * self.page_size
        half = self.page_size // 2
        at = start + half * self.erased_half
        self.data[at : at + half] = b"\xff" * half
        self._spend()
        self.data[start : start + self.page_size] = b"\xff" * self.page_size


def mounted(flash: Flash, seed: int = 1) -> Journal:
    journal = Journal(flash, random.Random(seed).randbytes)
    journal.mount()
    return journal


def put(journal: Journal, kind: int = STRIKE, payload: bytes = b"12345678") -> int:
    return journal.append(kind, 0, 1, 123456, 789, 0xBEEF, payload)


def silence(journal: Journal, count: int, latched: bool) -> int:
    return put(journal, SILENCED if latched else REARMED, struct.pack("<HB5x", count, latched))


def records(journal: Journal, after: int = 0, step: int = 5) -> list[bytes]:
    found = []
    buf = bytearray(step * RECORD)
    while count := journal.read_into(after, buf, step):
        found += [bytes(buf[i * RECORD : (i + 1) * RECORD]) for i in range(count)]
        after = seq_of(found[-1])
    return found


def seq_of(record: bytes) -> int:
    return int.from_bytes(record[4:8], "little")


def fill(journal: Journal) -> list[int]:
    return list(iter(lambda: put(journal), 0))


def exhausted(flash: Flash) -> Journal:
    journal = mounted(flash)
    fill(journal)
    for i in range(RESERVE):
        silence(journal, i + 1, False)
    return journal
