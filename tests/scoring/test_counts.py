"""Counts that anybody could make by hand."""

from __future__ import annotations

from blindfield.scoring.attempts import Attempt
from blindfield.scoring.counts import Count, met_of_last, steps_of
from support.attempts import attempt


def outcomes(*names: str) -> list[Attempt]:
    return [attempt(number, outcome=name) for number, name in enumerate(names, 1)]


def test_the_last_ten_that_say_something() -> None:
    runs = outcomes(
        "not_met", *["met"] * 6, "void", "stopped", "interrupted", "not_met", "met", "met"
    )
    count = met_of_last(runs)
    assert (count.met, count.count) == (8, 10)


def test_void_and_interrupted_are_neither() -> None:
    assert met_of_last(outcomes("void", "interrupted")) == Count(0, 0)


def test_stopped_is_no_pass() -> None:
    assert met_of_last(outcomes("met", "stopped")) == Count(1, 2)


def test_one_run_and_no_run_have_their_interval() -> None:
    one = Count(1, 1)
    assert 0.2 < one.low < 0.21
    assert one.high == 1.0
    assert (Count(0, 0).low, Count(0, 0).high) == (0.0, 1.0)


def test_steps_are_of_the_runs_in_which_somebody_ticked() -> None:
    runs = [
        attempt(1, steps_right=3, steps_seen=4),
        attempt(2),
        attempt(3, steps_right=5, steps_seen=5),
    ]
    steps = steps_of(runs)
    assert (steps.right, steps.seen, steps.runs) == (8, 9, 2)
    assert steps_of(runs, last=1).share == 1.0
    assert steps_of([attempt(2)]).share is None
