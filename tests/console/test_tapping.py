"""`tick --from-recording`: a recording of called distances lined up with the run afterwards."""

from __future__ import annotations

import builtins
import json
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from blindfield.console import tick
from blindfield.console.tapping import (
    CHANGES,
    FAR_OFF_S,
    STRIKE,
    Tap,
    offsets_s,
    splits,
    tap_phases,
)
from blindfield.logbook.book import Logbook
from blindfield.scoring.ticks import PhaseBegun, phases_of
from support.practised import KEY, Practised, field_in


@pytest.fixture
def bench(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Practised:
    """One run: struck at 2:00 and 5:20."""
    bench = Practised(tmp_path, capsys)
    bench.run([120.0, 200.0])
    return bench


def told(bench: Practised, *words: str) -> str:
    status, out, error = bench.command(tick, *words)
    assert (status, error) == (0, "")
    return " ".join(out.split())


def begun_in(bench: Practised) -> list[PhaseBegun]:
    with Logbook.open(field_in(bench.folder).logbook_path, field_key=KEY) as book:
        return phases_of(book.events_of(book.find_run(None).run_id))


PLAN = [(leg, phase) for leg in (1, 2) for phase, _ in CHANGES]


class Listener:
    """Types `typed`, one every ten seconds, and then nothing more."""

    def __init__(self, *typed: str) -> None:
        self.typed = iter(typed)
        self.asked: list[str] = []
        self.at_s = 1000.0

    def read(self, question: str) -> str:
        self.asked.append(question)
        self.at_s += 10.0
        try:
            return next(self.typed)
        except StopIteration:
            raise EOFError from None

    def now_s(self) -> float:
        return self.at_s

    def taps(self, legs: int = 2) -> list[tuple[int, str, float]]:
        taps = tap_phases(legs, self.read, self.now_s)
        return [(tap.leg, tap.phase, tap.run_s) for tap in taps]


def test_enter_at_each_change_counts_from_the_horn() -> None:
    listener = Listener(*[""] * 9)
    assert listener.taps() == [(*one, 10.0 * place) for place, one in enumerate(PLAN, 1)]
    assert "start horn" in listener.asked[0]
    assert len(listener.asked) == 9


def test_what_was_not_heard_is_left_out_and_a_slip_taken_back() -> None:
    assert Listener("", "-", "", "u", "", "q").taps() == [(1, "fine search", 40.0)]
    assert Listener("", "", "u", "u", "").taps(1) == [(1, "coarse search", 40.0)]


def test_the_end_of_input_keeps_what_was_tapped() -> None:
    assert Listener("", "").taps() == [(1, "coarse search", 10.0)]
    assert Listener().taps() == []


def test_taps_are_held_against_what_the_targets_felt() -> None:
    taps = [Tap(1, "pinpointing", 100.0), Tap(1, STRIKE, 121.5), Tap(2, STRIKE, 318.0)]
    assert offsets_s(taps, [120.0, 320.0]) == [1.5, -2.0]
    assert offsets_s(taps, [120.0]) == [1.5]
    assert list(splits(taps)) == [
        "1. pinpointing    0:21 (from 1:40)",
        "1. strike         at 2:01",
        "2. strike         at 5:18",
    ]


@pytest.fixture
def tapper(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Somebody sits at the terminal: each answer is typed at a time of the recording."""

    def taps(*typed: tuple[float, str]) -> None:
        waiting = iter(typed)
        clock = [0.0]

        def read(_question: str = "") -> str:
            clock[0], text = next(waiting)
            return text

        monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
        monkeypatch.setattr(builtins, "input", read)
        monkeypatch.setattr("blindfield.console.tapping.monotonic_s", lambda: 50.0 + clock[0])

    return taps


def test_a_recording_is_kept_as_ticks_with_times(
    bench: Practised, tapper: Callable[..., None]
) -> None:
    tapper((0.0, ""), (60.0, ""), (95.5, ""), (108.0, ""), (121.0, ""), (200.0, "q"))
    out = told(bench, "--from-recording", "--by", "Ana", "--self")
    assert "lie +1.0 s from what the targets felt" in out
    assert "1. fine search 0:12 (from 1:35)" in out
    begun = begun_in(bench)
    assert [(one.leg, one.phase, one.run_s) for one in begun] == [
        (1, "coarse search", 60.0),
        (1, "fine search", 95.5),
        (1, "pinpointing", 108.0),
        (1, "strike", 121.0),
    ]
    assert {one.author for one in begun} == {"Ana"}
    assert (
        json.loads(told(bench, "--json"))["seen"] == 0
    )  # when a phase began says nothing of its steps


@pytest.mark.parametrize("off_s", [FAR_OFF_S + 1, -FAR_OFF_S - 1])
def test_a_recording_that_does_not_fit_is_asked_about(
    bench: Practised, tapper: Callable[..., None], off_s: float
) -> None:
    taps = ((0.0, ""), (60.0, ""), (70.0, ""), (80.0, ""), (120.0 + off_s, ""), (200.0, "q"))
    tapper(*taps, (201.0, "n"))
    assert "Nothing is kept." in told(bench, "--from-recording")
    assert begun_in(bench) == []
    tapper(*taps, (201.0, "y"))
    told(bench, "--from-recording")
    assert len(begun_in(bench)) == 4


def test_a_later_recording_replaces_an_earlier_one(
    bench: Practised, tapper: Callable[..., None]
) -> None:
    tapper((0.0, ""), (60.0, ""), (70.0, "q"))
    told(bench, "--from-recording")
    tapper((0.0, ""), (65.0, ""), (70.0, "q"))
    told(bench, "--from-recording")
    assert [one.run_s for one in begun_in(bench)] == [65.0]
