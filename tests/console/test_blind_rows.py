"""Whoever counts and weighs the rows that nobody can read learns nothing of the problem: over the
whole run, of whatever kind, with finds at the same moments, the disk fills in the same way."""

from __future__ import annotations

import asyncio
import signal
import sqlite3
from pathlib import Path

import pytest

from blindfield.drills.catalogue import DRILLS
from blindfield.links.keyfile import read_key
from blindfield.links.sim.field import sim_field_of
from support.drill_fields import wide_field
from support.in_process import InProcess, commands

SENDING = [drill.kind for drill in DRILLS.values() if max(drill.targets) > 0]
LOOKS_S = (5.0, 12.0, 40.0, 130.0, 170.0)  # of run time, before any find
AFTER_THE_FIND_S = (4.0, 30.0)
SEED = 7

Rows = tuple[tuple[int, ...], ...]


def rows_of(folder: Path) -> tuple[int, ...]:
    """The lengths of the run's rows, in the order in which they came."""
    connection = sqlite3.connect(folder / "logbook.sqlite")
    rows = connection.execute(
        "SELECT coalesce(length(sealed), 0) FROM events WHERE run_id IS NOT NULL ORDER BY id"
    ).fetchall()
    connection.close()
    return tuple(length for (length,) in rows)


def filled(folder: Path, capsys: pytest.CaptureFixture[str], kind: str, *, find: bool) -> Rows:
    """What stood on disk at each look into a run of this kind."""
    seen: list[tuple[int, ...]] = []
    with commands(folder, capsys) as here:
        here.place = wide_field(folder)
        here.write(here.place)
        here.sim = sim_field_of(here.place, read_key(here.place.key_path), seed=5, ppm_spread=0.0)
        here.media["sim:"] = here.sim.medium
        status, _, err = here.run(
            *("--drill", kind, "--seed", str(SEED), "--minutes", "10", "--countdown", "3"),
            script=lambda: look_in(here, kind, seen, find=find),
        )
        assert status in (0, 130), err
    return tuple(seen)


async def look_in(here: InProcess, kind: str, seen: list[tuple[int, ...]], *, find: bool) -> None:
    loop = asyncio.get_running_loop()
    begin_s = loop.time()
    for look_s in LOOKS_S:
        await asyncio.sleep(begin_s + 10.0 + look_s - loop.time())
        seen.append(rows_of(here.place.folder))
    if find:
        here.sim.probe(here.in_play(kind, SEED)[0])
        for look_s in AFTER_THE_FIND_S:
            await asyncio.sleep(look_s)
            seen.append(rows_of(here.place.folder))
    signal.raise_signal(signal.SIGINT)


def test_rows_tell_neither_the_kind_nor_how_many_send_nor_when_one_begins(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found: dict[Rows, list[str]] = {}
    for kind in SENDING:
        (tmp_path / kind).mkdir()
        found.setdefault(filled(tmp_path / kind, capsys, kind, find=False), []).append(kind)
    assert list(found.values()) == [SENDING]
    (rows,) = found
    assert 0 < len(rows[0]) < len(rows[-1])  # it does fill


def test_after_a_find_rows_do_not_tell_whether_it_brought_another_signal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    several = ("pair", "staggered", "surprise", "not_told")
    found: dict[Rows, list[str]] = {}
    for kind in several:
        (tmp_path / kind).mkdir()
        found.setdefault(filled(tmp_path / kind, capsys, kind, find=True), []).append(kind)
    assert list(found.values()) == [list(several)]
