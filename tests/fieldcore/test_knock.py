"""The knock pattern: what makes it and, above all, what does not."""

from itertools import accumulate
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blindfield.links.sim.strikes import generate
from fieldcore.compat import TICKS_MASK, ticks_add
from fieldcore.knock import KnockDetector
from fieldcore.sensor import defaults
from fieldcore.strike import StrikeDetector
from support.samples import blocks, recordings

START_US = 3_000_000


def told(
    gaps_ms: list[int],
    start_us: int = START_US,
    motions_ms: tuple[int, ...] = (),
    listen_ms: int = 4000,
) -> list[int]:
    """When (ms after the first hit) the pattern is told; hits lie `gaps_ms` apart."""
    knock = KnockDetector()
    hits_ms = list(accumulate([0, *gaps_ms]))
    found = []
    for at_ms in range(-2000, hits_ms[-1] + listen_ms, 10):
        now_us = ticks_add(start_us, 1000 * at_ms)
        for hit_ms in hits_ms:
            if at_ms <= hit_ms < at_ms + 10:
                knock.hit(ticks_add(start_us, 1000 * hit_ms))
        if any(at_ms <= motion_ms < at_ms + 10 for motion_ms in motions_ms):
            knock.motion(now_us)
        if knock.advance(now_us):
            found.append(at_ms)
    return found


def test_five_even_knocks_are_told_once_a_second_after_the_last() -> None:
    assert told([400, 400, 400, 400]) == [2600]


@settings(max_examples=60, deadline=None)
@given(
    gap_ms=st.integers(215, 500),
    parts=st.lists(st.integers(-20, 20), min_size=4, max_size=4),
    start_us=st.integers(0, TICKS_MASK),
)
def test_an_uneven_hand_and_any_instant_will_do(
    gap_ms: int, parts: list[int], start_us: int
) -> None:
    """20 % either way of a common gap stays within 40 % of the mean; ticks wrap at 2^30 us."""
    gaps_ms = [gap_ms * (100 + part) // 100 for part in parts]
    assert len(told(gaps_ms, start_us)) == 1


@pytest.mark.parametrize(
    "gaps_ms",
    [
        pytest.param([], id="one hit"),
        pytest.param([300], id="a double hit"),
        pytest.param([400] * 3, id="four"),
        pytest.param([400] * 5, id="six"),
        pytest.param([400] * 9, id="ten"),
        pytest.param([140] * 4, id="too fast"),
        pytest.param([710] * 4, id="too slow"),
        pytest.param([1500] * 8, id="spiral probing"),
        pytest.param([1100, 200] * 4, id="probing with double hits"),
        pytest.param([200, 200, 200, 600], id="uneven"),
        pytest.param([400, 400, 100, 400, 400], id="a rebound among them"),
        pytest.param([800, 400, 400, 400, 400], id="no stillness before"),
        pytest.param([400, 400, 400, 400, 900], id="no stillness after"),
    ],
)
def test_other_rows_of_hits_are_not_told(gaps_ms: list[int]) -> None:
    assert told(gaps_ms) == []


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(800, 2500), min_size=1, max_size=12), st.booleans())
def test_hits_a_second_or_two_apart_never_are_a_pattern(gaps_ms: list[int], double: bool) -> None:
    assert told([200, *gaps_ms] if double else gaps_ms, listen_ms=1500) == []


def test_motion_just_before_or_after_spoils_it_and_between_does_not() -> None:
    gaps_ms = [400] * 4
    assert told(gaps_ms, motions_ms=(-500,)) == []
    assert told(gaps_ms, motions_ms=(2100,)) == []
    assert told(gaps_ms, motions_ms=(600, 1000)) == [2600]
    assert told(gaps_ms, motions_ms=(1700,)) == [2600]  # what the last knock leaves behind
    assert told(gaps_ms, motions_ms=(-1100,)) == [2600]


def test_it_can_be_told_again_and_a_late_caller_hears_it_once() -> None:
    knock = KnockDetector()
    knock.advance(0)
    for start_us in (5_000_000, 20_000_000):
        for k in range(5):
            knock.hit(start_us + 300_000 * k)
    # nobody asked between: the first pattern is remembered, the second still waits
    assert knock.advance(21_300_000)
    assert not knock.advance(21_400_000)
    assert knock.advance(22_300_000)
    assert not knock.advance(40_000_000)


def heard(frames: list[tuple[int, ...]], rate_hz: float, channels: int, first_us: int = 0) -> int:
    """Patterns in a whole signal, by way of the strike detector."""
    strike = StrikeDetector(defaults(channels), channels)
    knock = KnockDetector()
    count = 0
    for block in blocks(frames, rate_hz, first_us):
        strike.feed(block)
        knock.take(strike, block)
        count += knock.advance(block.first_us)
    return count


@pytest.mark.parametrize("channels", [1, 3])
def test_the_modelled_pattern_is_heard(channels: int) -> None:
    rng = Random(5)
    heard_times = 0
    for _ in range(40):
        signal = generate("knock", rng, pre_roll_s=1.5)
        heard_times += heard(signal.frames, 800.0, channels, rng.randrange(TICKS_MASK))
    assert heard_times >= 36


@pytest.mark.parametrize("kind", ["sharp", "push", "miss", "steps", "shovel", "lift"])
def test_other_modelled_signals_are_not_heard(kind: str) -> None:
    rng = Random(6)
    for _ in range(10):
        signal = generate(kind, rng, pre_roll_s=1.5, distance_m=0.5)
        assert heard(signal.frames, 800.0, 3) == 0


@pytest.mark.parametrize("attenuation_db", [0.0, 20.0])
def test_recorded_walking_is_not_heard(attenuation_db: float) -> None:
    for recording in recordings():
        if recording.rate_hz < 300.0:
            assert heard(recording.at_rate(800.0, attenuation_db), 800.0, 1) == 0
