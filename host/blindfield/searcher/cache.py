"""Pars that were computed before, in a folder of small files. Nothing here may fail a command."""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from contextlib import suppress
from dataclasses import asdict
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from blindfield.searcher.legs import Pace
from blindfield.searcher.par import Par, par_from_json
from blindfield.searcher.values import Problem

if TYPE_CHECKING:
    from blindfield.searcher.profiles import Profile

MODEL_ROOMS = ("searcher", "physics")
KEPT = 1000  # files of a few kilobytes


def default_folder() -> Path:
    """Where this user's programs keep what can be computed again."""
    from platformdirs import user_cache_dir

    return Path(user_cache_dir("blindfield", appauthor=False)) / "par"


@cache
def model_version() -> str:
    """A digest of the model: its source files, and the numpy whose random numbers it uses."""
    digest = hashlib.sha256(np.__version__.encode())
    for room in MODEL_ROOMS:
        for source in sorted(files(f"blindfield.{room}").iterdir(), key=lambda one: one.name):
            if source.name.endswith(".py"):
                digest.update(f"\0{room}/{source.name}\0".encode() + source.read_bytes())
    return digest.hexdigest()


def key_of(problem: Problem, profile: Profile, *, count: int, seed: int, pace: Pace) -> str:
    """SHA-256 in hex over everything that a par depends on, as canonical JSON."""
    asked = {
        "problem": asdict(problem),
        "profile": asdict(profile),
        "count": count,
        "seed": seed,
        "pace": asdict(pace),
        "model": model_version(),
    }
    text = json.dumps(asked, sort_keys=True, separators=(",", ":"), default=_canonical)
    return hashlib.sha256(text.encode()).hexdigest()


def _canonical(value: Any) -> Any:
    if isinstance(value, np.generic | np.ndarray):
        return value.tolist()
    raise TypeError(f"{value!r} has no place in the key of a par")


class ParCache:
    """`folder` is made when first needed; one that cannot be written only saves no time.

    A file that is damaged, unreadable or of another model is as good as absent.
    """

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = default_folder() if folder is None else folder

    def get(
        self, problem: Problem, profile: Profile, *, count: int, seed: int, pace: Pace
    ) -> Par | None:
        """The par kept for exactly this, or None."""
        key = key_of(problem, profile, count=count, seed=seed, pace=pace)
        try:
            whole = self._path(key).read_bytes()
            text = whole.partition(b"\n")[2]
            return par_from_json(json.loads(text)) if sealed(text) == whole else None
        except (OSError, ValueError):
            return None

    def put(
        self, par: Par, problem: Problem, profile: Profile, *, count: int, seed: int, pace: Pace
    ) -> None:
        """Keep `par`, whole or not at all."""
        path = self._path(key_of(problem, profile, count=count, seed=seed, pace=pace))
        text = json.dumps(par.to_json(), allow_nan=False).encode()
        with suppress(OSError):
            self.folder.mkdir(parents=True, exist_ok=True)
            _write(path, sealed(text))
            self._forget_the_oldest()

    def _path(self, key: str) -> Path:
        return self.folder / f"{key}.par"

    def _forget_the_oldest(self) -> None:
        kept = list(self.folder.glob("*.par"))
        if len(kept) > KEPT:
            kept.sort(key=lambda path: path.stat().st_mtime_ns)
            for path in kept[: len(kept) - KEPT]:
                path.unlink(missing_ok=True)


def sealed(text: bytes) -> bytes:
    """A line with the SHA-256 of `text`, then `text`: a turned digit must not pass for a time."""
    return hashlib.sha256(text).hexdigest().encode() + b"\n" + text


def _write(path: Path, content: bytes) -> None:
    handle, name = tempfile.mkstemp(prefix=".new-", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        os.replace(name, path)
    except OSError:
        with suppress(OSError):
            os.unlink(name)
        raise
