"""What a searcher can read before the close: of a whole run, its screen and every byte on disk."""

from __future__ import annotations

import asyncio
import re
import signal
from pathlib import Path

import pytest

from blindfield.drills.catalogue import drill_named
from blindfield.drills.draw import draw
from support.in_process import InProcess

FIRST_STRIKE_S = 40.0
TARGETS = 3


def seeds_by_problem(here: InProcess) -> dict[frozenset[str], int]:
    """A seed for each pair of targets, all from the same start point."""
    found: dict[frozenset[str], int] = {}
    for seed in range(200):
        scenario = draw(here.place, drill_named("pair"), seed=seed, time_limit_s=300)
        if scenario.start.name == "south flag":
            found.setdefault(frozenset(part.name for part in scenario.in_play), seed)
    assert len(found) == 3
    return found


def read_before_the_close(here: InProcess, seed: int, chosen: frozenset[str]) -> tuple[str, bytes]:
    """(the screen, the logbook's files) in mid-run, after the first find."""
    screen, disk = "", b""

    async def read() -> None:
        nonlocal screen, disk
        await here.until_sending()
        await asyncio.sleep(FIRST_STRIKE_S)
        here.sim.probe(min(chosen))
        await asyncio.sleep(10)
        screen, disk = here.seen(), on_disk(here.place.folder)
        here.sim.probe(max(chosen))
        await asyncio.sleep(3)

    status, out, _ = here.run("--drill", "pair", "--seed", str(seed), "--minutes", "5", script=read)
    assert status == 0
    assert "2 of 2 found" in out
    return screen, disk


def on_disk(folder: Path) -> bytes:
    files = sorted(path for path in folder.rglob("*") if path.name != "field.toml")
    return b"".join(path.read_bytes() for path in files if path.is_file())


def lines_of(screen: str) -> frozenset[str]:
    """Every line that stood there, without colours, clock, battery and first steps: how often it
    was drawn, at which second a strike was fetched, and where to go first, which is drawn without
    a look at the targets, is no part of the problem."""
    plain = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", screen)
    plain = re.sub(r"First steps [^.]*\.", "First steps.", plain)
    return frozenset(re.sub(r"\d+:\d\d(?:\.\d)?|\d\.\d\d V|[━╸╺]+", "#", plain).splitlines())


def test_screens_of_different_problems_are_the_same(
    here: InProcess, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")  # the live screen is drawn to a terminal only
    seen = {
        lines_of(read_before_the_close(here, seed, chosen)[0])
        for chosen, seed in seeds_by_problem(here).items()
    }
    assert len(seen) == 1
    screen = "\n".join(*seen)
    assert "Found 1 of 2" in screen
    # No target by name, place or depth.
    for target in here.place.targets:
        for text in (f"{target.x_m:g} m", f"{target.depth_m:g} m", f"target {target.name}"):
            assert text not in screen.replace("25 m", "")


def test_the_disk_holds_nothing_of_the_problem(here: InProcess) -> None:
    chosen, seed = next(iter(seeds_by_problem(here).items()))
    _, disk = read_before_the_close(here, seed, chosen)
    told = [
        *(b"in_play", b"south flag", b"pair", b"strike", b"on_word", b"period_us", b"sharp"),
        *(f'"x_m": {target.x_m:g}'.encode() for target in here.place.targets),
    ]
    upper = disk.upper()
    assert [what for what in told if what.upper() in upper] == []
    # The same words are there once the run is closed: the search itself works.
    closed = on_disk(here.place.folder).upper()
    assert [what for what in told if what.upper() in closed] != []


# Ctrl-C at any moment


@pytest.mark.parametrize(
    ("after_s", "kept"),
    [
        (0.0, False),
        (0.05, None),
        (5.0, False),
        (7.5, None),
        (9.0, True),
        (12.0, True),
        (30.0, True),
    ],
)
def test_ctrl_c_at_any_moment_ends_in_silence(
    here: InProcess, after_s: float, kept: bool | None
) -> None:
    """`kept`: whether a run must be in the logbook then (None: it depends on the moment)."""

    async def press() -> None:
        await asyncio.sleep(after_s)
        signal.raise_signal(signal.SIGINT)

    status, out, err = here.run("--drill", "pair", "--seed", "3", "--minutes", "5", script=press)
    assert status == 130, (out, err)
    assert here.silent()
    listed = here.call("debrief", "--list")[1] if here.place.logbook_path.exists() else ""
    assert "open" not in listed
    if kept is not None:
        assert ("stopped" in listed) == kept
    assert here.call("devices")[0] == 0
