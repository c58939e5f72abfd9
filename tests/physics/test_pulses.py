"""The pulse kernels say what trains laid out pulse by pulse say."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blindfield.physics.arrays import Floats
from blindfield.physics.pulses import (
    beat_s,
    check_receiver,
    clean_pulses,
    episode_s,
    marking_holds,
    overlap_probability,
    overlapped_share,
    separable,
)
from support.pulse_trains import beginnings_s, clean_count

seeds = st.integers(0, 2**32 - 1)
EQUAL_ON_S = np.full(2, 0.08)


def draw(rng: np.random.Generator, senders: int) -> tuple[Floats, Floats, Floats]:
    return (
        rng.uniform(0.7, 1.3, senders),
        rng.uniform(0.05, 0.3, senders),
        rng.uniform(-2.0, 5.0, senders),
    )


@given(seeds)
def test_clean_pulses_are_those_of_trains_laid_out_pulse_by_pulse(seed: int) -> None:
    rng = np.random.default_rng(seed)
    senders = int(rng.integers(1, 5))
    trains = draw(rng, senders)
    start_s, window_s, resolution_s = rng.uniform(0, 90), rng.uniform(1, 8), rng.uniform(0, 0.1)
    against = rng.random((senders, senders)) < 0.7
    clean, total = clean_pulses(
        *trains,
        start_s=start_s,
        window_s=window_s,
        resolution_s=resolution_s,
        against=against,
    )
    rows = list(zip(*(part.tolist() for part in trains), strict=True))
    for sender, (period_s, _, phase_s) in enumerate(rows):
        begun = beginnings_s(period_s, phase_s, start_s, start_s + window_s)
        assert total[sender] == len(begun)
        wanted = clean_count(rows, sender, start_s, window_s, resolution_s, against[sender])
        assert clean[sender] == wanted


@given(seeds)
def test_many_problems_at_once_are_each_as_alone(seed: int) -> None:
    rng = np.random.default_rng(seed)
    trains = draw(rng, 3)
    phases, starts = rng.uniform(0, 1, (6, 3)), rng.uniform(0, 50, 6)
    marked, heard = rng.random((6, 3)) < 0.5, rng.random((6, 3)) < 0.7
    told = separable(*trains[:2], phases, start_s=starts, window_s=7.0, heard=heard)
    holds = marking_holds(
        *trains[:2], phases, marked, start_s=starts, window_s=7.0, resolution_s=0.02, heard=heard
    )
    assert told.shape == holds.shape == (6, 3)
    for row in range(6):
        args = (*trains[:2], phases[row])
        alone = separable(*args, start_s=starts[row], window_s=7.0, heard=heard[row])
        assert np.array_equal(told[row], alone)
        held = marking_holds(
            *args,
            marked[row],
            start_s=starts[row],
            window_s=7.0,
            resolution_s=0.02,
            heard=heard[row],
        )
        assert np.array_equal(holds[row], held)


@given(seeds)
def test_a_finer_receiver_tells_no_fewer_apart(seed: int) -> None:
    rng = np.random.default_rng(seed)
    trains = draw(rng, 4)
    fine, coarse = (
        clean_pulses(*trains, window_s=20.0, resolution_s=resolution_s)[0]
        for resolution_s in (0.0, 0.05)
    )
    assert np.all(fine >= coarse)


def locked(gap_s: float, resolution_s: float) -> list[bool]:
    """Two senders of one period whose pulses never drift, the second `gap_s` after the first."""
    phase_s = np.array([0.3, 0.3 + 0.08 + gap_s])
    return separable(
        np.ones(2), EQUAL_ON_S, phase_s, window_s=10.0, resolution_s=resolution_s
    ).tolist()


def test_the_resolution_is_the_gap_that_it_takes() -> None:
    assert locked(-0.001, 0.0) == [False, False]
    assert locked(0.001, 0.0) == [True, True]
    assert locked(0.019, 0.02) == [False, False]
    assert locked(0.021, 0.02) == [True, True]


def test_overlap_across_the_turn_of_the_period_counts() -> None:
    phase_s = np.array([0.0, 0.95])
    assert separable(np.ones(2), EQUAL_ON_S, phase_s, window_s=10.0).tolist() == [False, False]


def test_many_searchers_may_hear_the_same_trains() -> None:
    heard = np.array([[True, True], [True, False], [False, True]])
    told = separable(np.ones(2), EQUAL_ON_S, np.zeros(2), window_s=10.0, heard=heard)
    assert told.tolist() == [[False, False], [True, False], [False, True]]


def test_a_sender_out_of_earshot_neither_disturbs_nor_is_told() -> None:
    heard = np.array([True, False])
    trains = (np.ones(2), EQUAL_ON_S, np.zeros(2))
    assert separable(*trains, window_s=10.0, heard=heard).tolist() == [True, False]
    clear = (np.ones(2), EQUAL_ON_S, np.array([0.0, 0.5]))
    assert separable(*clear, window_s=10.0, heard=heard).tolist() == [True, False]


@pytest.mark.parametrize(
    ("marked", "heard", "holds"),
    [
        ([False, False, False], [True, True, True], [True, True, True]),
        ([True, False, False], [True, True, True], [True, False, True]),
        ([False, False, True], [True, True, True], [True, True, True]),
        ([True, False, False], [False, True, True], [True, True, True]),
        ([True, False, False], [True, False, True], [True, True, True]),
        ([True, True, False], [True, True, True], [True, True, True]),
    ],
)
def test_marking_fails_the_sender_that_lies_under_a_marked_one(
    marked: list[bool], heard: list[bool], holds: list[bool]
) -> None:
    """Two senders lie on each other for good, a third stands clear of both."""
    found = marking_holds(
        np.ones(3),
        np.full(3, 0.08),
        np.array([0.0, 0.02, 0.5]),
        np.array(marked),
        window_s=10.0,
        heard=np.array(heard),
    )
    assert found.tolist() == holds


def test_marking_that_failed_holds_again_when_the_pulses_have_drifted_apart() -> None:
    trains = (np.array([1.0, 1.01]), EQUAL_ON_S, np.zeros(2))
    marked = np.array([True, False])
    sooner, later = (
        marking_holds(*trains, marked, start_s=start_s, window_s=4.0)[1] for start_s in (0.0, 20.0)
    )
    assert (bool(sooner), bool(later)) == (False, True)


def test_one_sender_alone_never_overlaps_and_a_full_period_always_does() -> None:
    assert overlap_probability(1, 0.07, 1.0) == 0.0
    assert overlap_probability(4, 0.3, 1.0) == 1.0
    assert overlapped_share(0.6, 0.7, 1.0) == 1.0


def test_equal_periods_never_drift() -> None:
    assert beat_s(1.0, 1.0) == math.inf
    assert episode_s(1.0, 1.0, 0.07, 0.07) == math.inf


@pytest.mark.parametrize(
    ("senders", "on_s", "period_s", "says"),
    [
        (0, 0.07, 1.0, "one sender or more"),
        (2, 0.07, 0.0, "period above zero"),
        (2, 0.07, float("nan"), "period above zero"),
        (2, 1.1, 1.0, "its whole period"),
        (2, -0.1, 1.0, "its whole period"),
    ],
)
def test_impossible_trains_are_refused(
    senders: int, on_s: float, period_s: float, says: str
) -> None:
    with pytest.raises(ValueError, match=says):
        overlap_probability(senders, on_s, period_s)


@pytest.mark.parametrize(
    ("resolution_s", "window_s", "says"),
    [
        (-0.01, 10.0, "zero or more"),
        (float("nan"), 10.0, "zero or more"),
        (0.45, 10.0, "no two senders"),
        (0.02, 1.5, "2 periods or more"),
        (0.02, float("inf"), "2 periods or more"),
    ],
)
def test_an_impossible_resolution_or_window_is_refused(
    resolution_s: float, window_s: float, says: str
) -> None:
    check_receiver(0.02, 10.0, 1.0, 0.08)
    with pytest.raises(ValueError, match=says):
        check_receiver(resolution_s, window_s, 1.0, 0.08)
