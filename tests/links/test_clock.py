"""The host side of device clocks: bounds that hold, a best within them, honest contradictions."""

from __future__ import annotations

import random
from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blindfield.links.clock import (
    BURST_SPAN_S,
    EARLY_EVERY_S,
    EARLY_S,
    FULL,
    KEEP,
    KEEP_EVERY_S,
    MAX_NODES,
    RATE_LIMIT,
    WANDER,
    ClockMap,
    Clocks,
    Exchange,
    Looks,
)
from blindfield.model.span import Span, exactly, unsynced
from support.clock_models import Device, Outcome, ble_30ms, exchanges, outcomes, serial

ROUNDING_S = 3e-6  # a device stamp is whole microseconds, allowed for twice


def regular(device: Device, moments_s: list[float], delay_s: float = 0.001) -> list[Exchange]:
    """One exchange at each moment, the same delay each way."""
    return [Exchange(m, device.at_us(m + delay_s), m + 2 * delay_s, 7) for m in moments_s]


# -- the identity of RFC 5905 ----------------------------------------------------------------


def offset_and_delay(t1: float, t2: float, t3: float, t4: float) -> tuple[float, float]:
    """RFC 5905, section 8: theta = ((T2 - T1) + (T3 - T4)) / 2, delta = (T4 - T1) - (T3 - T2)."""
    return ((t2 - t1) + (t3 - t4)) / 2, (t4 - t1) - (t3 - t2)


def test_the_worked_example() -> None:
    assert offset_and_delay(0, 51.5, 52, 3) == (50.25, 2.5)


@given(st.floats(-1e4, 1e4), st.floats(0, 1e4), st.floats(0, 10), st.floats(0, 1), st.floats(0, 10))
def test_the_offset_is_wrong_by_half_the_delay_at_most_and_so_are_our_bounds(
    offset_s: float, sent_s: float, there_s: float, hold_s: float, back_s: float
) -> None:
    arrival_s, reply_s = sent_s + there_s, sent_s + there_s + hold_s
    received_s = reply_s + back_s
    theta, delta = offset_and_delay(sent_s, arrival_s + offset_s, reply_s + offset_s, received_s)
    assert abs(theta - offset_s) <= delta / 2 + 1e-9

    # We stamp once on the device (T2 = T3): the bounds are theta +- delta / 2 of that exchange.
    stamp_us = round((arrival_s + offset_s + 2e4) * 1e6)
    theta, delta = offset_and_delay(sent_s, stamp_us * 1e-6, stamp_us * 1e-6, received_s)
    span = ClockMap(7, [Exchange(sent_s, stamp_us, received_s, 7)]).to_host(stamp_us)
    expected = (stamp_us * 1e-6 - theta - delta / 2, stamp_us * 1e-6 - theta + delta / 2)
    assert (span.low, span.high) == pytest.approx(expected, abs=ROUNDING_S)


# -- what must hold ---------------------------------------------------------------------------


def many(delays: object, runs: int, live: bool) -> list[Outcome]:
    draw = random.Random(457)
    found: list[Outcome] = []
    for _ in range(runs):
        device = Device(draw.uniform(-50e-6, 50e-6))
        found += outcomes(draw, delays, device, live)  # type: ignore[arg-type]
    return found


def p95_s(found: list[Outcome]) -> float:
    return sorted(abs(one.error_s) for one in found)[int(0.95 * len(found))]


@pytest.mark.parametrize("live", [True, False])
@pytest.mark.parametrize(
    ("delays", "p95_limit_s", "width_limit_s"), [(serial, 0.001, 0.003), (ble_30ms, 0.010, 0.080)]
)
def test_events_of_15_minutes_are_placed_well_and_within_their_bounds(
    delays: object, p95_limit_s: float, width_limit_s: float, live: bool
) -> None:
    found = many(delays, 30, live)
    assert p95_s(found) <= p95_limit_s
    assert sum(one.inside for one in found) >= 0.99 * len(found)
    assert sorted(one.width_s for one in found)[len(found) // 2] <= width_limit_s


@given(
    st.integers(0, 2**32),
    st.floats(-0.8 * RATE_LIMIT, 0.8 * RATE_LIMIT),
    st.floats(-0.9 * WANDER, 0.9 * WANDER),
    st.floats(-600, 600),
)
def test_the_truth_is_within_the_bounds_whatever_the_delays(
    seed: int, skew: float, wander: float, at_s: float
) -> None:
    """No more is assumed than the module says: any delays, rate and change of rate in limits."""
    draw = random.Random(seed)
    # The rate stays within its limit over the whole of the 600 s around the host's zero.
    wander *= min(1.0, (0.99 * RATE_LIMIT - abs(skew)) / (600 * WANDER))
    device = Device(skew, wander, zero_us=10**12)
    known = ClockMap(7)
    moment_s = -600.0
    while (moment_s := moment_s + draw.choice((0.1, 0.3, 40.0, 200.0))) < 590:
        there_s, back_s = (draw.choice((0.0, 0.0005, 0.05, 3.0)) * draw.random() for _ in "ab")
        stamp_us = device.at_us(moment_s + there_s)
        known.add(Exchange(moment_s, stamp_us, moment_s + there_s + back_s, 7))
    assert known.consistent
    span = known.to_host(device.at_us(at_s))
    assert span.low <= at_s <= span.high


def test_a_clock_that_wanders_more_than_allowed_is_found_out() -> None:
    device = Device(-80e-6, 20 * WANDER)
    known = ClockMap(7, regular(device, [15.0 * k for k in range(20)], delay_s=1e-5))
    assert not known.consistent
    span = known.to_host(device.at_us(150.0))
    assert span.low <= 150.0 <= span.high


# -- best and rate ----------------------------------------------------------------------------


def test_the_best_follows_the_quickest_way_out_not_the_middle() -> None:
    """A reply that waits long for its turn must not drag the estimate along."""
    stamp_us = 5_000_000
    known = ClockMap(7, [Exchange(10.0, stamp_us, 10.5, 7), Exchange(11.0, 6_300_000, 11.31, 7)])
    span = known.to_host(stamp_us)
    assert span.best == pytest.approx(10.0, abs=0.001)
    assert span.high == pytest.approx(10.01, abs=0.0002), "the second reply bounds the first"


@given(st.floats(-90e-6, 90e-6))
def test_the_rate_is_found_from_bursts_far_apart(skew: float) -> None:
    known = ClockMap(7, regular(Device(skew), [60.0 * k for k in range(12)], delay_s=0.0001))
    assert known.rate == pytest.approx(1 + skew, abs=2e-6)


def test_two_noisy_bursts_close_together_do_not_tilt_the_line() -> None:
    late = Exchange(6.0, 6_030_000, 6.05, 7)
    known = ClockMap(7, [Exchange(0.0, 1_000, 0.05, 7), late])
    assert abs(known.rate - 1) < 10e-6


def test_slow_bursts_at_the_ends_do_not_carry_the_rate_beyond_its_limit() -> None:
    device = Device(0.0)
    quick = regular(device, [600.0 + 6 * k for k in range(5)], delay_s=0.0001)
    first = Exchange(0.0, device.at_us(0.9), 1.0, 7)  # late on its way out: seems early
    last = Exchange(1200.0, device.at_us(1200.0), 1201.0, 7)
    known = ClockMap(7, [first, *quick, last])
    assert known.consistent
    assert known.rate == pytest.approx(1 - RATE_LIMIT, abs=1e-7)


def test_one_quick_burst_among_slow_ones_places_its_neighbours() -> None:
    """But not those far away: over an hour the clock may have wandered from what it says."""
    device, slow_s = Device(0.0), 0.02
    burst = [Exchange(m, device.at_us(m + slow_s), m + 2 * slow_s, 7) for m in (0.0, 60.0, 180.0)]
    burst.insert(2, Exchange(120.0, device.at_us(120.0), 120.04, 7))
    best = ClockMap(7, burst).to_host(device.at_us(100.0)).best
    assert best == pytest.approx(100.0, abs=0.002)
    slow = [
        Exchange(m, device.at_us(m + slow_s), m + 2 * slow_s, 7)
        for m in (3600.0 * k for k in range(1, 8))
    ]
    known = ClockMap(7, [Exchange(0.0, device.at_us(0.0), 0.04, 7), *slow])
    far = known.to_host(device.at_us(7 * 3600.0)).best
    assert far == pytest.approx(7 * 3600.0 - slow_s, abs=0.005)


@given(st.integers(0, 2**32), st.floats(0, 1500))
def test_to_device_undoes_to_host(seed: int, host_s: float) -> None:
    draw = random.Random(seed)
    device = Device(draw.uniform(-50e-6, 50e-6))
    known = ClockMap(7, exchanges(draw, serial, device))
    best = known.to_host(known.to_device(host_s)).best
    assert best == pytest.approx(host_s, abs=ROUNDING_S)


@given(st.integers(0, 2**32), st.lists(st.floats(-100, 2000), min_size=2, max_size=2))
def test_a_later_device_time_is_never_surely_earlier(seed: int, pair_s: list[float]) -> None:
    draw = random.Random(seed)
    device = Device(draw.uniform(-50e-6, 50e-6))
    known = ClockMap(7, exchanges(draw, serial, device))
    early, late = (known.to_host(device.at_us(at_s)) for at_s in sorted(pair_s))
    assert late.high >= early.low


def test_age_and_width() -> None:
    known = ClockMap(7)
    assert (known.age_s(5.0), known.width_s, known.rate) == (inf, inf, 1.0)
    known.add(Exchange(10.0, 1_000_000, 10.004, 7))
    assert known.age_s(12.004) == pytest.approx(2.0)
    assert known.width_s == pytest.approx(0.004, abs=2 * ROUNDING_S)


# -- wrong and contradictory input --------------------------------------------------------------


def test_what_cannot_be_an_exchange_is_refused() -> None:
    with pytest.raises(ValueError, match="before its question"):
        Exchange(2.0, 0, 1.0, 7)
    with pytest.raises(ValueError, match="before its question"):
        Exchange(float("nan"), 0, 1.0, 7)
    known = ClockMap(7, [Exchange(5.0, 0, 5.1, 7)])
    with pytest.raises(ValueError, match="is not"):
        known.add(Exchange(6.0, 0, 6.1, 8))
    with pytest.raises(ValueError, match="order"):
        known.add(Exchange(4.0, 0, 4.1, 7))


def test_a_clock_without_exchanges_says_so() -> None:
    with pytest.raises(LookupError, match="never synchronised"):
        ClockMap(7).to_host(0)
    with pytest.raises(LookupError, match="never synchronised"):
        ClockMap(7).to_device(0.0)


def test_a_suspended_host_shows_and_both_sides_stay_right() -> None:
    """The host's clock stood still for 100 s; the device's did not."""
    device, gap_s = Device(20e-6), 100.0
    before = regular(device, [0.0, 60.0, 120.0])
    after = [
        Exchange(m, device.at_us(m + gap_s + 0.001), m + 0.002, 7) for m in (180.0, 240.0, 300.0)
    ]
    known = ClockMap(7, before)
    assert known.consistent
    for exchange in after:
        known.add(exchange)
    assert not known.consistent
    early, late = known.to_host(device.at_us(90.0)), known.to_host(device.at_us(270.0 + gap_s))
    assert early.low <= 90.0 <= early.high
    assert late.low <= 270.0 <= late.high
    assert early.width < 0.01
    assert late.width < 0.01
    # Nobody can say where in between it stood still: every possible place is inside.
    between = known.to_host(device.at_us(150.0 + gap_s / 2))
    assert between.low <= 130.0
    assert between.high >= 170.0


def test_a_wrong_stamp_within_a_burst_is_kept_apart() -> None:
    device = Device(0.0)
    good = regular(device, [0.0, 0.1, 0.3, 60.0, 60.1])
    bad = Exchange(0.2, device.at_us(0.2) + 5_000_000, 0.202, 7)
    known = ClockMap(7, sorted([*good, bad], key=lambda one: one.sent_s))
    assert not known.consistent
    span = known.to_host(device.at_us(60.05))
    assert span.low <= 60.05 <= span.high
    assert span.width < 0.01


@given(
    st.lists(
        st.tuples(st.floats(0, 100), st.integers(0, 2**40), st.floats(0, 5)),
        min_size=1,
        max_size=12,
    ),
    st.integers(0, 2**40),
)
def test_no_stamps_however_wild_crash_it(
    rows: list[tuple[float, int, float]], device_us: int
) -> None:
    moment_s, known = 0.0, ClockMap(7)
    for step_s, stamp_us, delay_s in rows:
        moment_s += step_s
        known.add(Exchange(moment_s, stamp_us, moment_s + delay_s, 7))
    span = known.to_host(device_us)
    assert span.best is not None
    assert span.low <= span.best <= span.high
    assert isinstance(known.to_device(moment_s), int)
    assert abs(known.rate - 1) <= 1.001 * RATE_LIMIT


# -- memory and replay ------------------------------------------------------------------------


def test_a_week_of_bursts_is_kept_in_bounded_memory_and_old_events_stay_bounded() -> None:
    device = Device(30e-6)
    moments_s = [60.0 * k for k in range(24 * 60)]
    known = ClockMap(7, regular(device, moments_s))
    assert sum(len(stretch) for stretch in known._stretches) <= MAX_NODES
    newest = known.to_host(device.at_us(moments_s[-1] - 30.0))
    assert newest.width < 0.003
    for at_s in (100.0, 3600.0, 40_000.0):
        span = known.to_host(device.at_us(at_s))
        assert span.low <= at_s <= span.high
        assert span.best == pytest.approx(at_s, abs=0.1)


@pytest.mark.parametrize("delays", [serial, ble_30ms])
def test_the_same_exchanges_give_the_same_answers(delays: object) -> None:
    draw = random.Random(3)
    device = Device(-31e-6)
    known = exchanges(draw, delays, device)  # type: ignore[arg-type]
    live = Clocks()
    for exchange in known:
        live.add(exchange)
        live.to_host(7, device.at_us(exchange.sent_s), earliest_s=0.0, latest_s=1.0)
    replayed = Clocks(known)
    for at_s in (-50.0, 0.0, 33.3, 450.0, 1000.0):
        ask = device.at_us(at_s)
        spans = [c.to_host(7, ask, earliest_s=0.0, latest_s=1.0) for c in (live, replayed)]
        assert spans[0] == spans[1]


def test_clocks_are_kept_by_id_and_an_unknown_one_has_no_best() -> None:
    clocks = Clocks([Exchange(1.0, 0, 1.01, 7), Exchange(1.0, 9_000_000, 1.01, 8)])
    assert clocks.map_of(9) is None
    assert clocks.to_host(9, 123, earliest_s=4.0, latest_s=6.0) == unsynced(4.0, 6.0)
    one, two = (clocks.to_host(i, 9_000_000, earliest_s=4.0, latest_s=6.0) for i in (7, 8))
    assert one.best == pytest.approx(10.0)
    assert two.best == pytest.approx(1.0)


# -- the plan ---------------------------------------------------------------------------------


def test_looks_come_at_once_before_a_load_close_together_at_first_then_every_minute() -> None:
    looks = Looks()
    assert looks.due(5.0) == FULL
    looks.made(5.0)
    assert looks.due(5.0) is None
    assert looks.due(9.0, full=True) == FULL
    made_s = []
    for tenth in range(50, 4000):
        if looks.due(tenth / 10) is not None:
            assert looks.due(tenth / 10) == (FULL if len(made_s) < 8 else KEEP)
            looks.made(tenth / 10)
            made_s.append(tenth / 10)
    gaps = [b - a for a, b in zip([5.0, *made_s], made_s, strict=False)]
    early = [gap for at_s, gap in zip(made_s, gaps, strict=True) if at_s - gap - 5.0 < EARLY_S]
    assert len(early) == 8
    assert early == pytest.approx([EARLY_EVERY_S] * 8, abs=0.1)
    assert gaps[8:] == pytest.approx([KEEP_EVERY_S] * len(gaps[8:]), abs=0.1)
    assert len(gaps) > 10
    assert (FULL.count, KEEP.count) == (8, 4)
    assert FULL.offsets_s[-1] < BURST_SPAN_S < EARLY_EVERY_S


def test_a_radio_does_not_look_closer_at_first() -> None:
    looks = Looks(close_early=False)
    looks.made(0.0)
    assert looks.due(KEEP_EVERY_S - 0.1) is None
    assert looks.due(KEEP_EVERY_S) == KEEP


@pytest.mark.parametrize("interval_s", [0.0075, 0.030])
def test_a_full_burst_meets_all_phases_of_a_radio_interval(interval_s: float) -> None:
    phases = sorted(offset_s % interval_s for offset_s in FULL.offsets_s)
    gaps = [b - a for a, b in zip(phases, [*phases[1:], phases[0] + interval_s], strict=True)]
    assert max(gaps) <= interval_s / 2


# -- spans ------------------------------------------------------------------------------------

spans = st.lists(st.floats(-1e6, 1e6), min_size=3, max_size=3).map(lambda v: Span(*sorted(v)))


@given(spans, spans, st.floats(0, 1), st.floats(0, 1))
def test_a_difference_of_spans_holds_every_difference_of_moments(
    a: Span, b: Span, share_a: float, share_b: float
) -> None:
    apart = a.minus(b)
    moment_a, moment_b = a.low + share_a * a.width, b.low + share_b * b.width
    assert apart.low - 1e-6 <= moment_a - moment_b <= apart.high + 1e-6
    assert apart.width == pytest.approx(a.width + b.width, abs=1e-6)
    assert a.best is not None
    assert b.best is not None
    assert apart.best == pytest.approx(a.best - b.best, abs=1e-6)


def test_spans_without_a_best_and_out_of_order() -> None:
    assert exactly(3.0).minus(unsynced(1.0, 2.0)) == Span(1.0, None, 2.0)
    for bad in ((2.0, None, 1.0), (1.0, 3.0, 2.0), (1.0, 0.5, 2.0), (float("nan"), None, 1.0)):
        with pytest.raises(ValueError, match="a span wants"):
            Span(*bad)
