"""The learning curve: what it says of the next run and when it says nothing."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blindfield.scoring.attempts import Timed
from blindfield.scoring.learning import Curve, Numbered, curve_of


def curve(*seconds: float, cut: tuple[int, ...] = ()) -> Curve:
    runs = [Numbered(n, Timed(one, n in cut)) for n, one in enumerate(seconds, 1)]
    made = curve_of(runs)
    assert made is not None
    return made


def test_a_law_without_noise_is_found_again() -> None:
    made = curve(*(800.0 * number**-0.3 for number in range(1, 41)))
    assert made.level == pytest.approx(800.0, rel=0.02)
    assert made.exponent == pytest.approx(-0.3, abs=0.01)
    assert made.median(80) == pytest.approx(800.0 * 80**-0.3, rel=0.02)
    assert made.doubling == pytest.approx(2**-0.3, abs=0.01)


def test_the_number_of_a_run_counts_those_that_are_not_given() -> None:
    law = [Numbered(n, Timed(800.0 * n**-0.3)) for n in range(1, 41, 3)]
    made = curve_of(law)
    assert made is not None
    assert made.exponent == pytest.approx(-0.3, abs=0.02)


@pytest.mark.parametrize(
    "runs",
    [
        [],
        [Numbered(1, Timed(500.0))],
        [Numbered(1, Timed(500.0)), Numbered(2, Timed(400.0))],
        [Numbered(n, Timed(600.0, cut=True)) for n in range(1, 9)],
    ],
)
def test_too_little_is_no_curve(runs: list[Numbered]) -> None:
    assert curve_of(runs) is None


def test_it_says_how_many_were_seen_and_cut() -> None:
    made = curve(500.0, 600.0, 430.0, 600.0, cut=(2, 4))
    assert (made.seen, made.cut) == (2, 2)


@settings(max_examples=15)
@given(st.lists(st.floats(60.0, 1200.0), min_size=4, max_size=12), st.floats(1.1, 3.0))
def test_to_cut_the_last_run_or_to_cut_it_later_never_shortens_the_next(
    seconds: list[float], times: float
) -> None:
    last = len(seconds)
    later = [*seconds[:-1], seconds[-1] * times]
    middles = [
        math.log(made.median(last + 1))
        for made in (curve(*seconds), curve(*seconds, cut=(last,)), curve(*later, cut=(last,)))
    ]
    assert middles == sorted(middles)
    assert middles[0] < middles[1]


def test_the_range_of_the_next_run_holds_what_it_says() -> None:
    made = curve(612.0, 540.0, 475.0, 498.0, 430.0)
    low, high = made.range(6, 0.8)
    assert made.chance(6, low) == pytest.approx(0.1, abs=1e-6)
    assert made.chance(6, high) == pytest.approx(0.9, abs=1e-6)
    assert low < made.median(6) < high


def test_the_chance_rises_with_the_limit_from_none_to_sure() -> None:
    made = curve(612.0, 540.0, 475.0, 498.0, 430.0)
    chances = [made.chance(6, math.exp(step)) for step in range(-5, 18)]
    assert chances == sorted(chances)
    assert chances[0] < 1e-6
    assert chances[-1] > 1 - 1e-4
