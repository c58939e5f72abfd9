"""Kills a recording program at random moments and looks for what it had acknowledged.

`python -m support.logbook_kill ROUNDS [--most EVENTS] [--seed N] [--dishonest]` prints JSON. Each
round forks a child that records runs in a new logbook and says so event by event, and of every
second run, once it is closed, that it is not to count; SIGKILL comes at a random moment. What is
left must open, hold all that was acknowledged, and keep of each run the figures that its events
give. `--dishonest` acknowledges before recording: the losses must then show.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import signal
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from blindfield.logbook.book import Logbook
from blindfield.logbook.rebuild import compare_all
from blindfield.model.events import Event
from blindfield.model.run_summary import Outcome, RunSummary
from support.logbook_kit import EPOCH, KEY, UTC, run_id, strike, summary, with_open_run

EVENTS_PER_RUN = 15


def _record(path: Path, say: int, dishonest: bool) -> None:
    seq = 0
    with Logbook.open(path, field_key=KEY) as book:
        for number in range(1_000_000):
            run = with_open_run(book, number)
            for _ in range(EVENTS_PER_RUN):
                if dishonest:
                    os.write(say, b"event %d\n" % seq)
                book.append(strike(run, seq))
                if not dishonest:
                    os.write(say, b"event %d\n" % seq)
                seq += 1
            book.close_run(run, summarise(book.events_of(run)))
            os.write(say, b"close %d\n" % number)
            if number % 2:
                book.append_to_closed(run, [_void(run)], summarise)
                os.write(say, b"void %d\n" % number)


def summarise(events: Sequence[Event]) -> RunSummary:
    """The line of a run, out of its events alone."""
    run = events[0].run_id
    assert run is not None
    finds = [event.host_s for event in events if event.kind == "strike" and event.host_s]
    void = any(event.kind == "void" for event in events)
    ended: Outcome = "met" if len(finds) == EVENTS_PER_RUN else "interrupted"
    return summary(run, find_run_s=tuple(finds), outcome="void" if void else ended)


def _void(run: bytes) -> Event:
    return Event(kind="void", source="person", host_epoch=EPOCH, utc=UTC, run_id=run)


def _kill_once(path: Path, most: int, chance: random.Random, dishonest: bool) -> list[str]:
    """The acknowledgements of a child killed after a random number of them."""
    hear, say = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(hear)
        try:
            _record(path, say, dishonest)
        finally:
            os._exit(1)
    os.close(say)
    wanted = chance.randrange(most)
    heard = b""
    while heard.count(b"\n") < wanted and (more := os.read(hear, 4096)):
        heard += more
    # Somewhere within the next few commits, or within the making of the file.
    time.sleep(chance.uniform(0, 0.004))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    while more := os.read(hear, 65536):
        heard += more
    os.close(hear)
    return heard.decode().splitlines()


def _examine(path: Path, heard: list[str]) -> Counter[str]:
    """Opens what is left and counts what is missing, doubled, or half revealed."""
    found: Counter[str] = Counter(acknowledged=len(heard))
    with Logbook.open(path, field_key=KEY) as book:
        book.check()
        seqs: Counter[int] = Counter()
        for record in book.runs():
            events = book.events_of(record.run_id)
            seqs.update(event.device_key.seq for event in events if event.device_key)
            with book.database.reading() as connection:
                sealed = connection.exec_driver_sql(
                    "SELECT sealed IS NOT NULL FROM events WHERE run_id = ?", (record.run_id,)
                ).scalars()
                found["torn"] += set(sealed) != {int(record.is_open)}
        open_runs = {record.run_id for record in book.open_runs()}
        found["several_open"] += len(open_runs) > 1
        found["doubled"] += sum(count > 1 for count in seqs.values())
        said = {r.run_id for r in book.runs() if r.summary and r.summary.outcome == "void"}
        for line in heard:
            word, text = line.split()
            number = int(text)
            kept = {
                "event": number in seqs,
                "close": run_id(number) not in open_runs,
                "void": run_id(number) in said,
            }
            found["lost"] += not kept[word]
        for run in open_runs:  # recovery closes what the crash left open
            book.close_run(run, summarise(book.events_of(run)))
            found["recovered"] += 1
        for compared in compare_all(book, lambda _record: summarise):
            found["compared"] += 1
            found["differ"] += bool(compared.differs or compared.unknown)
    return found


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("rounds", type=int)
    parser.add_argument("--most", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--dishonest", action="store_true")
    wanted = parser.parse_args()
    chance = random.Random(wanted.seed)
    total: Counter[str] = Counter(lost=0, doubled=0, torn=0, several_open=0)
    with tempfile.TemporaryDirectory() as folder:
        for number in range(wanted.rounds):
            path = Path(folder, f"{number}.sqlite")
            heard = _kill_once(path, wanted.most, chance, wanted.dishonest)
            total += _examine(path, heard)
    print(json.dumps({"rounds": wanted.rounds, **{key: total[key] for key in KEYS}}))


KEYS = (
    *("acknowledged", "recovered", "compared"),
    *("lost", "doubled", "torn", "several_open", "differ"),
)

if __name__ == "__main__":
    main()
