"""A program killed while it records loses nothing that it had acknowledged."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from blindfield.logbook.book import Logbook
from support.logbook_kit import KEY, strike, with_open_run

TESTS = Path(__file__).parents[1]

needs_fork = pytest.mark.skipif(not hasattr(os, "fork"), reason="kills need fork")


def _kill(*arguments: str) -> dict[str, Any]:
    done = subprocess.run(
        [sys.executable, "-m", "support.logbook_kill", *arguments],
        cwd=TESTS,
        stdout=subprocess.PIPE,
        check=True,
    )
    result: dict[str, Any] = json.loads(done.stdout)
    return result


@needs_fork
def test_no_acknowledged_event_is_lost_at_fifty_kills() -> None:
    found = _kill("50")
    assert found["acknowledged"] > 500
    assert found["recovered"] > 10
    assert found["compared"] > 50
    faults = ("lost", "doubled", "torn", "several_open", "differ")
    assert [found[one] for one in faults] == [0] * 5


@needs_fork
def test_the_trial_finds_a_recorder_that_acknowledges_too_early() -> None:
    assert _kill("5", "--dishonest")["lost"] > 0


def test_a_power_cut_keeps_every_event_acknowledged_before_it(
    book: Logbook, path: Path, tmp_path: Path
) -> None:
    """What a disk may lose is what came after the last synchronisation: the log's tail."""
    log = path.with_name(path.name + "-wal")
    run = with_open_run(book)
    safe_bytes = [log.stat().st_size]
    for seq in range(8):
        book.append(strike(run, seq))
        safe_bytes.append(log.stat().st_size)
    main, tail = path.read_bytes(), log.read_bytes()
    for cut in range(safe_bytes[0], len(tail) + 1, 331):
        kept = tmp_path / f"cut{cut}" / path.name
        kept.parent.mkdir()
        kept.write_bytes(main)
        kept.with_name(log.name).write_bytes(tail[:cut])
        with Logbook.open(kept, field_key=KEY) as after:
            seqs = [one.device_key.seq for one in after.events_of(run) if one.device_key]
        acknowledged = sum(size <= cut for size in safe_bytes[1:])
        assert seqs == list(range(len(seqs)))
        assert len(seqs) >= acknowledged
