"""Figures of the logbook on this machine: `python tests/benchmarks/logbook.py [FOLDER]`.

FOLDER lies on the disk to be measured (default: the system's temporary folder). Prints the time of
an acknowledged event (recorded and synchronised), of a burst through the writer's thread, of a
close that reveals 2000 rows, and the size on disk.
"""

from __future__ import annotations

import asyncio
import os
import platform
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS)]

from blindfield.logbook.book import Logbook  # noqa: E402
from blindfield.logbook.writer import Writer  # noqa: E402
from support.logbook_kit import KEY, strike, summary, with_open_run  # noqa: E402

EVENTS = 2000


def _timed_ms(work: Callable[[], object]) -> float:
    begun_s = time.perf_counter()
    work()
    return (time.perf_counter() - begun_s) * 1e3


def _spread(name: str, times_ms: list[float]) -> None:
    ordered = sorted(times_ms)
    p50, p99 = ordered[len(ordered) // 2], ordered[len(ordered) * 99 // 100]
    print(f"{name:<46} p50 {p50:6.2f} ms   p99 {p99:6.2f} ms   n {len(ordered)}")


def _raw_sync(path: Path) -> None:
    """What the disk alone takes, for comparison: append 4 KiB and synchronise."""
    with path.open("wb", buffering=0) as file:

        def work() -> None:
            file.write(bytes(4096))
            os.fsync(file.fileno())

        _spread("4 KiB and fsync, no database", [_timed_ms(work) for _ in range(500)])


def _one_run(path: Path) -> None:
    with Logbook.open(path, field_key=KEY) as book:
        run = with_open_run(book)
        events = [strike(run, seq) for seq in range(EVENTS)]
        times_ms = [_timed_ms(lambda one=one: book.append(one)) for one in events]  # type: ignore[misc]
        _spread("event acknowledged, run open (sealed)", times_ms)
        print(
            f"{'all rows of the open run read':<46} {_timed_ms(lambda: book.events_of(run)):.0f} ms"
        )
        close_ms = _timed_ms(lambda: book.close_run(run, summary(run)))
        print(f"{f'close that reveals {EVENTS} rows':<46} {close_ms:.0f} ms")
        later = [strike(None, EVENTS + seq) for seq in range(EVENTS // 4)]
        times_ms = [_timed_ms(lambda one=one: book.append(one)) for one in later]  # type: ignore[misc]
        _spread("event acknowledged, no run open (plain)", times_ms)
    print(f"{'file after the close':<46} {path.stat().st_size / 1e6:.1f} MB")
    again_ms = _timed_ms(lambda: Logbook.open(path, field_key=KEY).close())
    print(f"{'open and close again':<46} {again_ms:.1f} ms")


def _burst(path: Path) -> None:
    async def use(book: Logbook) -> None:
        writer = Writer(book)
        run = await writer.call(with_open_run)
        await asyncio.gather(*(writer.append(strike(run, seq)) for seq in range(EVENTS)))
        await writer.close()

    with Logbook.open(path, field_key=KEY) as book:
        took_ms = _timed_ms(lambda: asyncio.run(use(book)))
    print(f"{'burst through the writer thread':<46} {EVENTS / took_ms * 1e3:.0f} events/s")


def main() -> None:
    print(f"{platform.platform()}, {os.cpu_count()} processors, SQLite {sqlite3.sqlite_version}")
    where = sys.argv[1] if len(sys.argv) > 1 else None
    with tempfile.TemporaryDirectory(dir=where) as folder:
        _raw_sync(Path(folder, "raw"))
        _one_run(Path(folder, "run.sqlite"))
        _burst(Path(folder, "burst.sqlite"))


if __name__ == "__main__":
    main()
