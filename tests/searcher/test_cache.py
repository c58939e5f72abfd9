"""Pars kept in files: the same again, never another model's, and never a reason to fail."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from blindfield.searcher import cache
from blindfield.searcher.cache import ParCache, default_folder, key_of, model_version
from blindfield.searcher.legs import Pace
from blindfield.searcher.par import par_from
from support.walks import MadeProfile, drawn_legs, made_problem, walks_of

PROBLEM, PROFILE = made_problem(), MadeProfile()
PAR = par_from(walks_of(drawn_legs(60)), PROBLEM, PROFILE.name, seed=1)
ASKED = {"count": 60, "seed": 1, "pace": Pace()}


def kept_in(folder: Path) -> ParCache:
    kept = ParCache(folder)
    kept.put(PAR, PROBLEM, PROFILE, **ASKED)
    return kept


def test_what_was_put_comes_back(tmp_path: Path) -> None:
    kept = kept_in(tmp_path / "deep" / "folder")
    assert kept.get(PROBLEM, PROFILE, **ASKED) == PAR
    assert [path.suffix for path in kept.folder.iterdir()] == [".par"]  # nothing half-written


@pytest.mark.parametrize(
    "asked",
    [
        {"problem": replace(PROBLEM, marking_allowed=False)},
        {"problem": replace(PROBLEM, sources=PROBLEM.sources[:1])},
        {"profile": MadeProfile(speed_m_s=1.3)},
        {"count": 61},
        {"seed": 2},
        {"pace": Pace(time=1.1)},
    ],
)
def test_anything_else_is_another_par(tmp_path: Path, asked: dict[str, object]) -> None:
    kept = kept_in(tmp_path)
    asked = {"problem": PROBLEM, "profile": PROFILE, **ASKED, **asked}
    assert kept.get(**asked) is None  # type: ignore[arg-type]


def test_a_changed_model_never_serves_an_old_par(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = kept_in(tmp_path / "pars")
    source = tmp_path / "model"
    for room in cache.MODEL_ROOMS:
        (source / room).mkdir(parents=True)
        (source / room / "one.py").write_text("X = 1\n")
    monkeypatch.setattr(cache, "files", lambda name: source / name.split(".")[-1])
    versions = set()
    for change in (
        lambda: None,
        lambda: (source / "physics/one.py").write_text("X = 2\n"),
        lambda: (source / "searcher/two.py").write_text(""),
        lambda: (source / "searcher/two.py").rename(source / "searcher/three.py"),
    ):
        change()
        model_version.cache_clear()
        versions.add(model_version())
        assert kept.get(PROBLEM, PROFILE, **ASKED) is None
    assert len(versions) == 4
    (source / "searcher/notes.txt").write_text("no source")
    model_version.cache_clear()
    assert model_version() in versions
    monkeypatch.undo()
    model_version.cache_clear()
    assert kept.get(PROBLEM, PROFILE, **ASKED) == PAR


def test_the_model_version_is_of_the_real_sources() -> None:
    names = {
        source.name
        for room in cache.MODEL_ROOMS
        for source in cache.files(f"blindfield.{room}").iterdir()
    }
    assert {"par.py", "legs.py", "values.py", "arrays.py"} <= names


DAMAGE: dict[str, Callable[[bytes], bytes]] = {
    "empty": lambda whole: b"",
    "cut short": lambda whole: whole[:-40],
    "a digit turned": lambda whole: whole.replace(b'"count": 60', b'"count": 61'),
    "no line": lambda whole: whole.replace(b"\n", b""),
    "noise": lambda whole: bytes(range(256)) * 3,
    "a seal over no par": lambda whole: cache.sealed(b"[1, 2]"),
    "a seal over no JSON": lambda whole: cache.sealed(b"\xff{"),
}


@pytest.mark.parametrize("damage", DAMAGE.values(), ids=DAMAGE.keys())
def test_a_damaged_file_is_as_good_as_absent_and_is_mended(
    tmp_path: Path, damage: Callable[[bytes], bytes]
) -> None:
    kept = kept_in(tmp_path)
    (path,) = tmp_path.iterdir()
    path.write_bytes(damage(path.read_bytes()))
    assert kept.get(PROBLEM, PROFILE, **ASKED) is None
    kept.put(PAR, PROBLEM, PROFILE, **ASKED)
    assert kept.get(PROBLEM, PROFILE, **ASKED) == PAR


def test_a_folder_where_the_file_should_be_is_no_error(tmp_path: Path) -> None:
    kept = kept_in(tmp_path)
    (path,) = tmp_path.iterdir()
    path.unlink()
    path.mkdir()
    assert kept.get(PROBLEM, PROFILE, **ASKED) is None
    kept.put(PAR, PROBLEM, PROFILE, **ASKED)
    assert list(tmp_path.iterdir()) == [path]  # what was begun is taken away again


def test_a_folder_that_cannot_be_made_is_no_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    kept = kept_in(tmp_path / "file" / "pars")
    assert kept.get(PROBLEM, PROFILE, **ASKED) is None


def test_a_folder_that_cannot_be_written_is_no_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError("read-only")

    monkeypatch.setattr(cache.tempfile, "mkstemp", refuse)
    assert kept_in(tmp_path).get(PROBLEM, PROFILE, **ASKED) is None


def test_a_write_broken_off_leaves_the_old_par(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = kept_in(tmp_path)

    def refuse(*_: object) -> None:
        raise OSError("disk full")

    monkeypatch.setattr(cache.os, "replace", refuse)
    kept.put(replace(PAR, title="another"), PROBLEM, PROFILE, **ASKED)
    assert kept.get(PROBLEM, PROFILE, **ASKED) == PAR
    assert len(list(tmp_path.iterdir())) == 1


def test_the_oldest_are_forgotten(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cache, "KEPT", 3)
    kept = ParCache(tmp_path)
    for seed in range(5):
        kept.put(PAR, PROBLEM, PROFILE, **{**ASKED, "seed": seed})
        path = tmp_path / f"{key_of(PROBLEM, PROFILE, **{**ASKED, 'seed': seed})}.par"
        os.utime(path, (seed, seed))
    got = [kept.get(PROBLEM, PROFILE, **{**ASKED, "seed": seed}) for seed in range(5)]
    assert [one is not None for one in got] == [False, False, True, True, True]


def test_the_folder_is_the_users_own() -> None:
    assert ParCache().folder == default_folder()
    assert default_folder().name == "par"
    assert "blindfield" in default_folder().parts
