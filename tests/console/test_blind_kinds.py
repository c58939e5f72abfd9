"""Of no kind of problem does anything that can be read before the close tell who sends.

Three programs guess one target that sends: one reads what is printed meanwhile (the screen, other
commands), one every byte on disk, one compares the shapes of both with those of other runs. They
must do no better than chance: the exact probability of so many hits by chance (Poisson binomial
over the runs) must not fall below FALSE_ALARM. Set on what the close leaves, each of the first two
must: else it could not find out.
"""

from __future__ import annotations

import asyncio
import random
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from blindfield.conduct.owner import Owner
from blindfield.console import debrief, draw
from blindfield.console import run as run_command
from blindfield.drills.catalogue import DRILLS, drill_named
from blindfield.drills.feasible import TargetSet, ground_of, sets_of
from blindfield.links.keyfile import read_key
from blindfield.links.sim.field import sim_field_of
from blindfield.model.field import Field
from support.drill_fields import wide_field
from support.in_process import InProcess, commands
from support.one_command import typed

FALSE_ALARM = 1e-4  # for each of the three guessers
KINDS = [drill.kind for drill in DRILLS.values() if max(drill.targets) > 0]
LOOK_AFTER_S = 4.0
NAMES = {"1": "Quarry", "2": "Zenith", "3": "Yonder", "4": "Xylem", "8": "Kestrel"}


@dataclass(frozen=True)
class Read:
    """All that could be read of one run: printed and on disk before the close, and after it."""

    kind: str
    sent: TargetSet
    printed: bytes
    disk: bytes
    printed_after: bytes
    disk_after: bytes

    @property
    def before(self) -> bytes:
        return self.printed + self.disk


def named_field(folder: Path) -> Field:
    """Five targets with names that occur nowhere else, on which every kind can be set."""
    place = wide_field(folder)
    kept = [replace(t, name=NAMES[t.name]) for t in place.targets if t.name in NAMES]
    return replace(place, targets=tuple(kept), start_points=place.start_points[:1])


@pytest.fixture(scope="module")
def place_and_reads(
    tmp_path_factory: pytest.TempPathFactory,
) -> tuple[Field, list[Read]]:
    return named_field(Path(".")), []


@pytest.fixture
def reads(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    place_and_reads: tuple[Field, list[Read]],
) -> list[Read]:
    """One run of each kind, each on a fresh field; made once for all tests of this file."""
    _, done = place_and_reads
    rng = random.Random(20260117)
    for kind in KINDS if not done else ():
        folder = tmp_path / kind
        folder.mkdir()
        with commands(folder, capsys) as here, pytest.MonkeyPatch.context() as patch:
            here.place = named_field(folder)
            here.write(here.place)
            here.sim = sim_field_of(here.place, read_key(here.place.key_path), seed=5)
            here.media["sim:"] = here.sim.medium
            done.append(read_one(here, patch, capsys, kind, rng.randrange(10**9)))
    return done


def read_one(
    here: InProcess,
    patch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    kind: str,
    seed: int,
) -> Read:
    handlers: dict[str, Any] = {}
    patch.setattr(Owner, "handle", lambda _, name, handler: handlers.update({name: handler}))
    patch.setattr(run_command, "_show", lambda *_: None)
    patch.setenv("FORCE_COLOR", "1")
    printed = disk = b""

    def exported() -> str:
        """What other commands print now."""
        field = ("--field", str(here.place.folder))
        asked = ((debrief, "--list", "--json"), (debrief, "--json"), (draw, "--json"))
        return "".join(str(typed(module, capsys, *words, *field)) for module, *words in asked)

    async def look() -> None:
        nonlocal printed, disk
        while "tell" not in handlers or (await handlers["status"]({}))["phase"] != "running":
            await asyncio.sleep(0.5)
        await asyncio.sleep(3.0 + LOOK_AFTER_S)
        seen = here.seen() + str(await handlers["status"]({}))
        printed, disk = (seen + exported()).encode(), on_disk(here.place.folder)
        await handlers["tell"]({"word": "stop"})

    status, _, err = here.run("--drill", kind, "--seed", str(seed), "--minutes", "5", script=look)
    assert status == 0, err
    sent = frozenset(here.in_play(kind, seed))
    after = exported().encode(), on_disk(here.place.folder)
    return Read(kind, sent, printed, disk, *after)


def on_disk(folder: Path) -> bytes:
    files = sorted(path for path in folder.rglob("*") if path.name != "field.toml")
    return b"".join(path.read_bytes() for path in files if path.is_file())


# The guessers


def mentions(place: Field, data: bytes) -> dict[str, int]:
    """How often each target is met in some bytes, by its name, its number or its place; most of all
    where it is said to be in play or to send."""
    found: dict[str, int] = {}
    for target in place.targets:
        name = target.name.encode()
        said = rb'"%s"[^{}]{0,200}"in_play": true' % name
        texts = (target.name, target.device_id.hex(), f'"x_m": {target.x_m}')
        found[target.name] = sum(data.count(text.encode()) for text in texts)
        found[target.name] += data.count(target.device_id) + 50 * len(re.findall(said, data))
    return found


def by_mentions(place: Field, texts: Sequence[bytes]) -> list[str]:
    """Of each text, the target that is met oftenest there, against the mean of all texts."""
    counts = [mentions(place, text) for text in texts]
    mean = {name: sum(one[name] for one in counts) / len(counts) for name in counts[0]}
    return [max(one, key=lambda name: (one[name] - mean[name], name)) for one in counts]


def by_shape(reads: Sequence[Read]) -> list[str]:
    """Of each run, a target that was sent in the other run most like it: by what stands legibly
    there, and by how long all is."""
    words = [set(re.findall(rb"[ -~]{6,}", read.before)) for read in reads]
    sizes = [len(read.before) for read in reads]

    def alike(one: int, other: int) -> float:
        shared = len(words[one] & words[other]) / len(words[one] | words[other])
        return shared - abs(sizes[one] - sizes[other]) / (sizes[one] + sizes[other])

    count = range(len(reads))
    nearest = [max((n for n in count if n != me), key=partial(alike, me)) for me in count]
    return [min(reads[near].sent) for near in nearest]


def chance_of(place: Field, read: Read, guess: str) -> float:
    """How often a target is among those drawn, over all sets that its kind has on this field."""
    by_number = sets_of(ground_of(place), drill_named(read.kind), "search only")
    shares = [sum(guess in one for one in sets) / len(sets) for sets in by_number.values()]
    return sum(shares) / len(shares)


def so_many_by_chance(place: Field, reads: Sequence[Read], guesses: Sequence[str]) -> float:
    """The probability of as many hits or more by chance."""
    hits = sum(guess in read.sent for read, guess in zip(reads, guesses, strict=True))
    likely = [1.0]
    for read, guess in zip(reads, guesses, strict=True):
        p = chance_of(place, read, guess)
        likely = [
            (likely[n] if n < len(likely) else 0.0) * (1 - p) + (likely[n - 1] * p if n else 0.0)
            for n in range(len(likely) + 1)
        ]
    return sum(likely[hits:])


@pytest.mark.parametrize("what", ["printed", "disk"])
def test_what_is_read_before_the_close_names_nobody(
    reads: list[Read], place_and_reads: tuple[Field, list[Read]], what: str
) -> None:
    place = place_and_reads[0]
    assert {read.kind for read in reads} == set(KINDS)
    guesses = by_mentions(place, [getattr(read, what) for read in reads])
    assert so_many_by_chance(place, reads, guesses) > FALSE_ALARM


def test_the_shape_of_what_is_read_tells_nothing_either(
    reads: list[Read], place_and_reads: tuple[Field, list[Read]]
) -> None:
    place = place_and_reads[0]
    assert so_many_by_chance(place, reads, by_shape(reads)) > FALSE_ALARM


@pytest.mark.parametrize("what", ["printed_after", "disk_after"])
def test_the_same_guesser_finds_out_once_the_run_is_closed(
    reads: list[Read], place_and_reads: tuple[Field, list[Read]], what: str
) -> None:
    place = place_and_reads[0]
    guesses = by_mentions(place, [getattr(read, what) for read in reads])
    assert so_many_by_chance(place, reads, guesses) < FALSE_ALARM
