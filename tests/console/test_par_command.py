"""`blindfield par`: what it prints, what it must not betray, what it refuses."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from blindfield.console.own_legs import own_legs
from blindfield.console.par_tables import of_100
from blindfield.logbook.book import Logbook
from blindfield.searcher.values import Problem, Walks
from support.par_field import PLACES, ParField
from support.walks import drawn_legs, walks_of

MEDIANS_S = (100.0, 160.0, 220.0)


def known_walk(problem: Problem, profile: Any, *, count: int, seed: int, **_: Any) -> Walks:
    """Searches of known medians in place of the model; one in 50 gives up on the last leg."""
    legs_s = drawn_legs(count, MEDIANS_S[: len(problem.sources)], seed=seed)
    legs_s[::50, -1] = np.nan
    digs_s = np.full(legs_s.shape, 200.0) if problem.end_on == "dug_out" else None
    return walks_of(legs_s, digs_s)


@pytest.fixture
def known(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("blindfield.searcher.walk.walk", known_walk)


@pytest.fixture
def bench(
    tmp_path: Path,
    tmp_path_factory: pytest.TempPathFactory,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> ParField:
    cache = tmp_path_factory.mktemp("cache")
    monkeypatch.setattr("blindfield.searcher.cache.default_folder", lambda: cache)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.chdir(tmp_path)
    return ParField(tmp_path, capsys)


def words(text: str) -> str:
    return " ".join(text.split())


def test_without_a_field_it_is_the_built_in_example_and_says_so(
    bench: ParField, known: None
) -> None:
    status, out, _ = bench.par()
    assert status == 0
    assert "No field here: the built-in example" in out
    assert "modelled practised searcher" in out
    assert "A model, not people" in words(out)
    rows = {line.split("  ")[0].strip(): line for line in out.splitlines()}
    middle_s = round(float(np.median(drawn_legs(500, MEDIANS_S[:2], seed=1)[:, 0])))
    assert f"{middle_s // 60}:{middle_s % 60:02d}" in rows["start to first"]
    assert {"first to second", "whole", "signal search", "pinpointing"} <= rows.keys()
    assert "excavation" not in rows
    assert "Done within 10:00" in out
    assert "Not done within 20:00: 2 of 100" in out
    assert "500 searches; standard error of the whole's par" in out


def test_the_same_by_seed_cached_or_not(bench: ParField, known: None) -> None:
    texts = [bench.par("--json")[1] for _ in range(2)]
    (kept,) = Path(cache_folder()).iterdir()
    kept.write_bytes(b"damaged")
    texts.append(bench.par("--json")[1])
    assert len(set(texts)) == 1
    assert json.loads(texts[0])["label"] == "model"
    assert json.loads(texts[0])["par"]["label"] == "model"


def cache_folder() -> Path:
    from blindfield.searcher.cache import ParCache

    return ParCache().folder


def test_a_drill_on_a_field_shows_no_name_and_no_place(bench: ParField, known: None) -> None:
    bench.place()
    for more in ((), ("--json",), ("--dig", "--no-marking")):
        for drill in ("single", "pair", "staggered", "three"):
            status, out, _ = bench.par("--drill", drill, "--seed", "7", *more)
            assert status == 0
            assert "Larch Hollow" in out
            for name, place in PLACES.items():
                assert name not in out
                for value in place[:2]:
                    assert not re.search(rf"(?<![\d.]){re.escape(f'{value:g}')}(?!\d)", out)


def test_a_field_in_the_folder_is_used_unasked(bench: ParField, known: None) -> None:
    bench.place()
    status, out, _ = bench.par()
    assert status == 0
    assert "--drill staggered --seed 1" in words(out)


def test_digging_and_marking_are_said_and_counted(bench: ParField, known: None) -> None:
    status, out, _ = bench.par("--dig", "--no-marking")
    assert status == 0
    assert "It ends when all are dug out." in out
    assert "Found signals are not marked." in out
    assert "digging, second" in out
    assert "excavation" in out
    both = json.loads(bench.par("--dig", "--json")[1])["par"]
    assert [band["median"] for band in both["digging"]] == [200.0, 200.0]
    assert len(both["legs"]) == 2


def test_while_a_run_is_open_no_par_of_the_field_is_told(bench: ParField, known: None) -> None:
    bench.run_made([100.0, 200.0], is_open=True)
    for drill in ((), ("--drill", "pair", "--seed", "1"), ("--json",)):
        status, out, error = bench.par(*drill)
        assert (status, out) == (1, "")
        assert "a run is open" in error
        assert not any(name in error for name in PLACES)


def test_an_open_run_stays_blind_and_a_closed_one_can_be_read(bench: ParField, known: None) -> None:
    closed = bench.run_made([90.0, 250.0], number=1)
    opened = bench.run_made([100.0, 200.0], number=2, is_open=True)
    status, out, error = bench.par(opened)
    assert (status, out) == (1, "")
    assert "not closed yet" in error
    assert bench.par(closed)[0] == 0


def test_a_run_stands_beside_its_par(bench: ParField, known: None) -> None:
    run = bench.run_made([100.0, 320.0])
    status, out, _ = bench.par(run)
    assert status == 0
    first, second, whole = (
        next(line for line in out.splitlines() if line.startswith(start))
        for start in ("start to first", "first to second", "whole")
    )
    assert "1:40" in first
    assert "5:20" in second
    assert second.rstrip().endswith("98 of 100") or second.rstrip().endswith("97 of 100")
    assert "7:00" in whole
    data = json.loads(bench.par(run, "--json")[1])
    assert data["about"] == {"kind": "run", "field": "Larch Hollow", "run": run}
    assert [leg["leg"] for leg in data["run"]["legs"]] == [1, 2]
    assert data["run"]["legs"][0]["seconds"] == pytest.approx(100.0, abs=0.01)
    assert data["run"]["whole_s"] == pytest.approx(420.0, abs=0.01)
    assert data["run"]["faster"] == pytest.approx(0.96, abs=0.03)


def test_a_run_broken_off_is_said_to_be_so(bench: ParField, known: None) -> None:
    run = bench.run_made([100.0], broken_off_s=400.0, outcome="not_met")
    status, out, _ = bench.par(run)
    assert status == 0
    assert "not in 6:40" in out
    whole = next(line for line in out.splitlines() if line.startswith("whole"))
    assert "of 100" not in whole


def test_a_run_that_was_dug_out_has_its_digging_beside(bench: ParField, known: None) -> None:
    run = bench.run_made([100.0, 150.0], digs_s=[310.0, 250.0])
    data = json.loads(bench.par(run, "--json")[1])
    assert [round(leg["seconds"]) for leg in data["run"]["legs"]] == [100, 150]
    assert {leg: round(s) for leg, s in data["run"]["digging_s"].items()} == {"1": 310, "2": 250}
    assert round(data["run"]["whole_s"]) == 810
    assert "5:10" in bench.par(run)[1]


def test_me_is_the_pace_of_the_logbook(bench: ParField, known: None) -> None:
    for number in range(1, 9):
        bench.run_made([150.0, 240.0], number=number)  # 1.5 times the known medians
    plain = json.loads(bench.par("--drill", "pair", "--json")[1])["par"]
    mine = json.loads(bench.par("--drill", "pair", "--profile", "me", "--json")[1])
    assert mine["refit"]["time"] == pytest.approx(1.5, rel=0.05)
    assert mine["par"]["whole"]["median"] == pytest.approx(
        plain["whole"]["median"] * mine["refit"]["time"], rel=0.05
    )
    text = words(bench.par("--drill", "pair", "--profile", "me")[1])
    assert "at the pace of this logbook" in text
    assert "16 legs walked, 0 broken off" in text


def test_refit_is_a_table_of_model_against_people(bench: ParField, known: None) -> None:
    run = bench.run_made([100.0, 320.0], number=1)
    bench.run_made([80.0], number=2, broken_off_s=500.0, outcome="not_met")
    bench.run_made([1.0], number=3, outcome="void")
    status, out, _ = bench.par("--refit")
    assert status == 0
    lines = [line for line in out.splitlines() if " to " in line and "of 100" in line]
    assert len(lines) == 4
    assert lines[0].startswith(run[:6])
    assert "not in 8:20" in lines[3]
    assert "3 legs walked, 1 broken off" in words(out)
    assert "too few legs to judge the spread" in words(out)
    data = json.loads(bench.par("--refit", "--json")[1])
    assert data["label"] == "model"
    assert [leg["broken_off"] for leg in data["legs"]] == [False, False, False, True]
    assert not any(name in out for name in PLACES)


def test_two_legs_are_no_pace(bench: ParField, known: None) -> None:
    bench.run_made([100.0, 200.0])
    for words_ in (("--refit",), ("--profile", "me", "--drill", "pair")):
        status, out, error = bench.par(*words_)
        assert (status, out) == (1, "")
        assert "2 of the 3 legs" in error


@pytest.mark.parametrize(
    ("words_", "sentence"),
    [
        (("--count", "3"), "out of range"),
        (("--minutes", "99"), "out of range"),
        (("--profile", "hero"), "new, practised, expert, me"),
        (("--drill", "pear"), "pair"),
        (("zzzzzz",), "zzzzzz"),
        (("zzzzzz", "--seed", "3"), "--seed does not go"),
        (("zzzzzz", "--dig"), "--dig does not go"),
        (("--refit", "--drill", "pair"), "--drill does not go"),
        (("zzzzzz", "--refit"), "all runs"),
        (("--field", "nowhere"), "nowhere"),
    ],
)
def test_wrong_input_gets_a_sentence(
    bench: ParField, known: None, words_: tuple[str, ...], sentence: str
) -> None:
    bench.run_made([100.0, 200.0])
    status, out, error = bench.par(*words_)
    assert (status, out) == (1, "")
    assert sentence in error


@pytest.mark.parametrize(
    "words_", [("--drill", "pair"), ("abc",), ("--refit",), ("--profile", "me")]
)
def test_what_needs_a_field_says_so_without_one(bench: ParField, words_: tuple[str, ...]) -> None:
    status, _, error = bench.par(*words_)
    assert status == 1
    assert "no field file" in error


def test_a_target_that_cannot_be_modelled_is_not_named(bench: ParField, known: None) -> None:
    bench.place()
    path = bench.folder / "field.toml"
    path.write_text(path.read_text().replace("depth_m = 1.1", "depth_m = 0"))
    errors = {bench.par("--drill", "three", "--seed", str(seed))[2] for seed in range(1, 9)}
    (refused,) = errors - {""}
    assert "cannot be modelled" in refused
    assert not any(name in refused for name in PLACES)


def test_with_the_real_model_a_better_searcher_has_a_shorter_par(bench: ParField) -> None:
    medians = []
    for profile in ("new", "practised", "expert"):
        status, out, _ = bench.par("--json", "--count", "200", "--profile", profile)
        assert status == 0
        medians.append(json.loads(out)["par"]["whole"]["median"])
    assert medians[0] > medians[1] > medians[2] > 60
    bench.place()
    status, out, _ = bench.par("--drill", "three", "--count", "100", "--dig", "--no-marking")
    assert status == 0
    assert "second to third" in out


def test_more_shovellers_dig_faster_and_none_is_refused(bench: ParField) -> None:
    digging_s = []
    for count in (1, 3):
        status, out, _ = bench.par("--dig", "--json", "--count", "100", "--shovellers", str(count))
        assert status == 0
        digging_s.append(json.loads(out)["par"]["digging"][0]["median"])
    assert digging_s[1] < 0.6 * digging_s[0]
    status, _, err = bench.par("--dig", "--shovellers", "0")
    assert status == 1
    assert "shovellers = 0" in err


def test_a_run_that_no_model_can_walk_is_left_out_and_counted(bench: ParField, known: None) -> None:
    runs = [bench.run_made([100.0, 200.0], number=number) for number in range(1, 5)]
    place = bench.place()
    smaller = replace(place, width_m=15.0, height_m=15.0)
    with Logbook.open(place.logbook_path, field_key=None) as book:
        assert own_legs(book, smaller) == ([], 4)
    path = bench.folder / "field.toml"
    text = path.read_text()
    path.write_text(text.split("[[target]]")[0].replace("media", "width_m = 43\nmedia", 1))
    status, out, _ = bench.par("--refit")
    assert (status, len(runs)) == (0, 4)
    assert "Left out: " in out


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (0.0, "0 of 100"),
        (0.002, "under 1 of 100"),
        (0.4, "40 of 100"),
        (0.998, "over 99 of 100"),
        (1.0, "100 of 100"),
    ],
)
def test_a_share_is_never_rounded_to_none_or_all(share: float, text: str) -> None:
    assert of_100(share) == text
