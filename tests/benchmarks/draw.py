"""How long a draw takes with a long logbook: `python tests/benchmarks/draw.py [RUNS]`.

A logbook of RUNS closed runs (default 10 000) of one searcher on the field of eight targets and
four starts, with the clock looks that lie between runs, 400 entries of people and 4 000 dug-out
records. Timed: everything from the open logbook to the scenario (read the runs, read what is known
of the field, judge every kind, draw). Prints median, longest and processor time, with the machine.
"""

from __future__ import annotations

import json
import os
import platform
import random
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS)]

from sqlalchemy import insert  # noqa: E402

from blindfield.console.asked import Asked, known_of, scenario_of  # noqa: E402
from blindfield.drills.catalogue import DRILLS, shipped  # noqa: E402
from blindfield.logbook.book import Logbook  # noqa: E402
from blindfield.logbook.schema import events, runs  # noqa: E402
from support.drill_fields import wide_field  # noqa: E402
from support.logbook_kit import EPOCH, UTC  # noqa: E402

ENTRIES, LIFTS, LOOKS_A_RUN = 400, 4000, 8
TIMES = 40


def fill(book: Logbook, count: int) -> None:
    """Rows as the close leaves them."""
    rng = random.Random(1)
    place = wide_field()
    kinds = [drill for drill in DRILLS.values() if drill.drawn]
    rows = []
    for number in range(count):
        drill = rng.choice(kinds)
        sent = sorted(rng.sample([t.name for t in place.targets], rng.choice(drill.targets)))
        rows.append(
            {
                "run_id": number.to_bytes(8, "big"),
                "field_name": place.name,
                "drawn_utc": UTC,
                "key_id": b"k" * 8,
                "commitment": "00",
                "is_open": False,
                "salt": "00",
                "scenario_kind": drill.kind,
                "time_limit_s": 600.0,
                "started_utc": UTC,
                "ended_utc": UTC,
                "outcome": rng.choice(["met", "not_met", "stopped", "interrupted"]),
                "targets": len(sent),
                "found": 0,
                "find_run_s": "[]",
                "flags": "[]",
                "work": "search only",
                "searcher": "Vera",
                "knows_places": rng.random() < 0.1,
                "start_point": rng.choice(place.start_points).name,
                "sent": json.dumps(sent),
            }
        )
    with book.database.writing() as connection:
        connection.execute(insert(runs), rows)
        connection.execute(insert(events), list(_events(count, rng)))


def _events(count: int, rng: random.Random) -> list[dict[str, Any]]:
    base = {"host_epoch": EPOCH, "utc": UTC, "raw": b"", "source": "person"}
    looks = [{"source": "host", "kind": "clock_exchange", "data": "{}"}] * (count * LOOKS_A_RUN)
    made: list[dict[str, Any]] = [{**base, "device_id": None, "seq": None, **one} for one in looks]
    for _ in range(ENTRIES):
        data = {"device": str(rng.randrange(1, 9)), "depth_m": round(rng.uniform(0.4, 1.0), 2)}
        data |= {"means": "probed", "field": "Larch Hollow"}
        row = {"kind": "depth", "data": json.dumps(data), "device_id": None, "seq": None}
        made.append({**base, **row})
    for number in range(LIFTS):
        row = {"source": "device", "kind": "dug_out", "data": '{"device": "9"}', "seq": number}
        made.append({**base, **row, "device_id": bytes([7] * 7 + [1 + number % 8])})
    rng.shuffle(made)
    return made


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    place = wide_field()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "logbook.sqlite"
        with Logbook.open(path, field_key=None) as book:
            fill(book, count)
            times_ms, cpu_ms, kinds = [], [], set()
            for seed in range(TIMES):
                asked = Asked(catalogue=shipped(), searcher="Vera", seed=seed)
                begun_s, cpu_s = time.perf_counter(), time.process_time()
                scenario = scenario_of(asked, known_of(asked, place, book))
                times_ms.append((time.perf_counter() - begun_s) * 1e3)
                cpu_ms.append((time.process_time() - cpu_s) * 1e3)
                kinds.add(scenario.kind)
        size_mb = path.stat().st_size / 1e6
    ordered = sorted(times_ms)
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}")
    print(f"{count} runs, {size_mb:.0f} MB, {TIMES} draws of {len(kinds)} kinds:")
    cpu = sorted(cpu_ms)[len(cpu_ms) // 2]
    print(f"median {ordered[len(ordered) // 2]:.1f} ms, longest {ordered[-1]:.1f} ms (limit 50)")
    print(f"of it processor time, median {cpu:.1f} ms")


if __name__ == "__main__":
    main()
