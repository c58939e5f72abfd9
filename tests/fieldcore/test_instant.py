"""Instants: wraps of the raw counter, of ms and of lap; differences; small integers only."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fieldcore.instant import Clock, diff_ms, diff_us, later, split_us, total_us
from support.interpreters import run_micropython

MASK = 0x3FFFFFFF
ROUND_US = (256 << 30) * 1000  # all laps
CAP_US = 500_000_000
PAST_US = 300_000_000  # what `instant_of` converts, by its contract
AHEAD_US = 60_000_000

near_a_wrap = st.one_of(st.integers(0, 5000), st.integers(MASK - 5000, MASK), st.integers(0, MASK))
laps = st.one_of(st.sampled_from((0, 1, 254, 255)), st.integers(0, 255))
instants = st.tuples(laps, near_a_wrap, st.integers(0, 999))


def total_of(clock: Clock) -> int:
    return total_us(clock.lap, clock.ms, clock.us)


def apart_us(a: tuple[int, int, int], b: tuple[int, int, int]) -> int:
    """a - b on the circle of 256 laps, by big integers."""
    return (total_us(*a) - total_us(*b) + ROUND_US // 2) % ROUND_US - ROUND_US // 2


class Small(int):
    """An integer that refuses to leave a 32-bit board's small ones (31 bits, signed)."""


def _checked(name: str) -> Callable[..., Any]:
    plain = getattr(int, name)

    def operate(self: int, *others: int) -> Any:
        value = plain(self, *others)
        assert -(2**30) <= value < 2**30, f"{name}{(int(self), *map(int, others))} leaves 31 bits"
        return Small(value)

    return operate


for _name in ("add", "sub", "mul", "floordiv", "mod", "and"):
    for _side in ("", "r"):
        setattr(Small, f"__{_side}{_name}__", _checked(f"__{_side}{_name}__"))
Small.__neg__ = _checked("__neg__")  # type: ignore[method-assign]


def test_the_small_integer_of_these_tests_notices_a_large_one() -> None:
    with pytest.raises(AssertionError, match="leaves 31 bits"):
        Small(2**30 - 1) + 1
    with pytest.raises(AssertionError, match="leaves 31 bits"):
        1 + Small(2**30 - 1)


@given(laps, near_a_wrap, near_a_wrap, st.lists(st.integers(0, PAST_US), min_size=1, max_size=30))
def test_a_clock_counts_every_microsecond_across_all_wraps(
    lap: int, ms: int, ticks: int, steps: list[int]
) -> None:
    clock = Clock()
    clock.start_at(lap, ms)
    clock.advance(ticks)
    begun = total_of(clock)
    assert begun == total_us(lap, ms, 0)
    for step in steps:
        ticks = (ticks + step) & MASK
        clock.advance(ticks)
        assert 0 <= clock.lap <= 255
        assert 0 <= clock.ms <= MASK
        assert 0 <= clock.us <= 999
    assert (total_of(clock) - begun) % ROUND_US == sum(steps)


def test_a_clock_passes_lap_255_to_0() -> None:
    clock = Clock()
    clock.start_at(255, MASK)
    clock.advance(7)
    clock.advance(7 + 1000)
    assert (clock.lap, clock.ms, clock.us) == (0, 0, 0)


@given(near_a_wrap, st.integers(0, PAST_US))
def test_an_older_reading_does_not_turn_the_clock_back(ticks: int, older: int) -> None:
    clock = Clock()
    clock.advance(ticks)
    before = total_of(clock)
    clock.advance((ticks - older) & MASK)
    assert total_of(clock) == before
    clock.advance((ticks + 5) & MASK)
    assert total_of(clock) == before + 5


@given(near_a_wrap, st.integers(-PAST_US, AHEAD_US), laps, near_a_wrap)
def test_a_raw_stamp_near_the_present_becomes_its_instant(
    ticks: int, away: int, lap: int, ms: int
) -> None:
    clock = Clock()
    clock.start_at(lap, ms)
    clock.advance(ticks)
    found = clock.instant_of((ticks + away) & MASK)
    assert apart_us(found, (lap, ms, 0)) == away
    assert (clock.lap, clock.ms, clock.us) == (lap, ms, 0), "asking moves nothing"


@given(near_a_wrap, st.integers(-PAST_US, 0))
def test_a_stamp_from_before_the_first_reading_lies_after_zero(ticks: int, away: int) -> None:
    clock = Clock()
    clock.advance(ticks)
    lap, ms, us = clock.instant_of((ticks + away) & MASK)
    assert lap == 0
    assert total_us(lap, ms, us) == total_of(clock) + away


@given(instants, st.integers(-(2**29), 2**29), st.integers(-CAP_US, CAP_US))
def test_later_is_addition_on_the_circle(
    start: tuple[int, int, int], add_ms: int, add_us: int
) -> None:
    moved = later(*start, add_ms, add_us)
    assert moved == split_us((total_us(*start) + add_ms * 1000 + add_us) % ROUND_US)


@given(instants, st.integers(-2 * CAP_US, 2 * CAP_US))
def test_a_difference_is_exact_up_to_500_s_and_saturates_beyond(
    start: tuple[int, int, int], away: int
) -> None:
    moved = split_us((total_us(*start) + away) % ROUND_US)
    assert diff_us(*moved[1:], *start[1:]) == max(-CAP_US, min(CAP_US, away))


@pytest.mark.parametrize("away", [CAP_US - 1, CAP_US, CAP_US + 1, CAP_US + 999, 2**29 * 999])
def test_saturation_begins_exactly_at_the_cap(away: int) -> None:
    start = (3, MASK - 20, 999)
    moved = split_us(total_us(*start) + away)
    assert diff_us(*moved[1:], *start[1:]) == min(away, CAP_US)
    assert diff_us(*start[1:], *moved[1:]) == -min(away, CAP_US)


@given(near_a_wrap, st.integers(-(2**29), 2**29 - 1))
def test_milliseconds_differ_right_across_a_wrap(ms: int, away: int) -> None:
    assert diff_ms((ms + away) & MASK, ms) == away


@given(instants)
def test_splitting_undoes_the_total(one: tuple[int, int, int]) -> None:
    assert split_us(total_us(*one)) == one


@given(instants, instants, near_a_wrap, st.lists(st.integers(0, MASK), min_size=1, max_size=10))
def test_nothing_leaves_the_small_integers_of_a_board(
    a: tuple[int, int, int], b: tuple[int, int, int], ticks: int, readings: list[int]
) -> None:
    a, b = (Small(a[0]), Small(a[1]), Small(a[2])), (Small(b[0]), Small(b[1]), Small(b[2]))
    diff_us(*a[1:], *b[1:])
    later(*a, Small(600_000), Small(-CAP_US))
    later(*a, Small(-600_000), Small(CAP_US))
    clock = Clock()
    clock.start_at(*a[:2])
    clock.us = a[2]
    clock.advance(Small(ticks))
    for reading in readings:
        clock.advance(Small(reading))
        clock.instant_of(Small(ticks))
    assume(len(readings) > 1)
    assert isinstance(clock.ms, Small), "the arithmetic was watched to the end"


STEADY = """
import micropython
from fieldcore.instant import Clock, diff_us
def work(clock, ticks):
    clock.advance(ticks)
    micropython.heap_lock()
    for _ in range(2000):
        ticks = (ticks + 7777) & 0x3FFFFFFF
        clock.advance(ticks)
        far = diff_us(clock.ms, clock.us, 0x3FFFFFFF, 0)
    micropython.heap_unlock()
    print(clock.lap, clock.ms, clock.us, far)
clock = Clock()
clock.start_at(255, 0x3FFFFFFF - 5000)
work(clock, 0x3FFFFFFF - 3000000)
"""


def test_advancing_and_comparing_allocate_nothing_on_micropython() -> None:
    elapsed_us = 2000 * 7777
    end = split_us((total_us(255, MASK - 5000, 0) + elapsed_us) % ROUND_US)
    expected = [*end, (end[1] + 1) * 1000 + end[2]]
    assert run_micropython(STEADY, heapsize="64K").split() == [str(value) for value in expected]
