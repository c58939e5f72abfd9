"""`next`: a sitting for the time and the people there are."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from blindfield.console import next as next_command
from blindfield.scoring.standards import shipped
from support.practised import PLACES, Practised

STEPS = (
    *("own_to_search", "distances_called", "slower_on_approach", "at_the_surface"),
    *("not_rotated", "bracketed", "spiral", "strike_called"),
)
TICKS = [(step, "done") for step in STEPS]


@pytest.fixture
def bench(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Practised:
    return Practised(tmp_path, capsys)


def told(bench: Practised, *words: str) -> str:
    status, out, error = bench.command(next_command, *words)
    assert (status, error) == (0, "")
    return out


def data(bench: Practised, *words: str) -> dict[str, Any]:
    read: dict[str, Any] = json.loads(told(bench, "--json", *words))
    return read


def practised(bench: Practised, ticks: list[tuple[str, Any]]) -> None:
    """Every kind that comes before others was met; one of them goes badly."""
    with bench.logbook():
        for kind in ("single", "pair", "pair_within_range"):
            legs = [150.0] if kind == "single" else [150.0, 200.0]
            for _ in range(3):
                bench.run(legs, kind=kind, ticks=ticks)
        for _ in range(4):
            bench.run([200.0], kind="overlap", outcome="not_met", broken_off_s=700.0, ticks=ticks)


@pytest.fixture(scope="module")
def able_made(tmp_path_factory: pytest.TempPathFactory) -> Practised:
    made = Practised(tmp_path_factory.mktemp("able"), None)  # type: ignore[arg-type]
    practised(made, TICKS)
    return made


@pytest.fixture
def able(bench: Practised, able_made: Practised) -> Practised:
    """Somebody whose technique holds, with one weak kind."""
    bench.like(able_made)
    return bench


def test_somebody_new_begins_with_the_base_and_without_a_clock(bench: Practised) -> None:
    bench.run([100.0], kind="single", outcome="stopped", broken_off_s=50.0)
    blocks = data(bench)["blocks"]
    assert {block["drill"] for block in blocks} == {"single"}
    assert {block["mode"] for block in blocks} == {"technique"}
    text = told(bench)
    assert "Technique before speed" in text
    assert "blindfield run --drill single --searcher Ana --standard technique" in text
    assert shipped()["technique"].technique


def test_before_the_first_run_it_is_laid_out_too(bench: Practised) -> None:
    assert told(bench).startswith("For somebody new: ")
    read = data(bench, "--searcher", "Žofie")
    assert read["searcher"] == "Žofie"
    assert [(block["drill"], block["mode"]) for block in read["blocks"]] == [
        ("single", "technique")
    ]
    assert not list(bench.folder.glob("*.sqlite"))


def test_the_weakest_comes_first_and_says_why(able: Practised) -> None:
    read = data(able, "--minutes", "200")
    (weak,) = [block for block in read["blocks"] if block["drill"] == "overlap"]
    assert weak["mode"] == "timed"
    timed = [block["drill"] for block in read["blocks"] if block["mode"] == "timed"]
    assert timed[0] == "overlap"
    assert "Tried 4 times, met 0 of the last 4" in weak["reason"]
    modes = [block["mode"] for block in read["blocks"]]
    assert modes == sorted(modes)  # technique before timed


def test_timed_only_once_technique_holds(bench: Practised) -> None:
    practised(bench, [])
    assert {block["mode"] for block in data(bench, "--minutes", "200")["blocks"]} == {"technique"}
    missed = [(step, "done" if place > 4 else "missed") for place, step in enumerate(STEPS)]
    practised(bench, missed)
    assert {block["mode"] for block in data(bench, "--minutes", "200")["blocks"]} == {"technique"}


def test_it_is_the_same_each_time_and_fits(able: Practised) -> None:
    first = data(able, "--minutes", "45")
    assert data(able, "--minutes", "45") == first
    assert first["seconds"] <= 45 * 60


def test_people_take_turns(able: Practised) -> None:
    read = data(able, "--people", "3", "--minutes", "90")
    assert (read["turns"], read["roles"]) == (3, ["observer", "timer"])
    text = told(able, "--people", "3", "--minutes", "90")
    assert "Who waits is observer or timer" in text
    assert "surprise" not in told(able, "--minutes", "600")


def test_to_dig_is_another_sitting(able: Practised) -> None:
    assert "--end-on dug-out" in told(able, "--dig", "--minutes", "120")


def test_a_name_with_a_blank_can_be_typed_as_shown(bench: Practised) -> None:
    bench.run([100.0], kind="single", searcher="Žofie Novotná")
    assert "--searcher 'Žofie Novotná'" in told(bench)


def test_it_names_no_target(able: Practised) -> None:
    assert not any(name in told(able) + json.dumps(data(able)) for name in PLACES)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--minutes", "3"), "Choose from 10 to 600"),
        (("--people", "0"), "Choose from 1 to 12"),
        (("--people", "8", "--minutes", "20"), "too short for a run of everybody"),
        (("--searcher", "Anna"), "Did you mean Ana?"),
    ],
)
def test_wrong_input_gets_a_sentence(
    bench: Practised, words: tuple[str, ...], sentence: str
) -> None:
    bench.run([100.0], kind="single")
    status, out, error = bench.command(next_command, *words)
    assert (status, out) == (1, "")
    assert sentence in error
