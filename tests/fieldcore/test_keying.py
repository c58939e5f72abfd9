"""The pulse train: each pulse in its place to the microsecond, over a whole run and every wrap."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldcore import wire
from fieldcore.instant import Clock
from fieldcore.keying import Keying
from support.device_bench import DeviceBench

EXACT_US = 1
WRAP = 1 << 30
AT, STRIKE, DUG_OUT, ON_WORD = 1, 2, 3, 4


@pytest.mark.parametrize(
    ("first_us", "ms"),
    [(0, -1), (WRAP - 5_000_000, -1), (0, WRAP - 60_000), (WRAP - 1, WRAP - 300_001)],
    ids=["plain", "raw counter wraps", "ms wraps", "both wrap"],
)
@pytest.mark.parametrize(
    ("period_us", "phase_us"), [(1_000_000, 0), (700_000, 699_999), (1_299_999, 123_457)]
)
def test_every_pulse_of_twenty_minutes_is_in_its_place(
    first_us: int, ms: int, period_us: int, phase_us: int
) -> None:
    bench = DeviceBench(first_us=first_us, ms=ms)
    bench.load(period_us=period_us, phase_us=phase_us)
    bench.start(us=357)
    bench.until(bench.start_us + 1_201_000_000)
    times_us = bench.pulse_times_us()
    assert len(times_us) == len(range(phase_us, 1_200_000_000 - 82_000, period_us))
    for k, at_us in enumerate(times_us):
        assert abs(at_us - (phase_us + k * period_us)) <= EXACT_US
    assert {pulse[1] for pulse in bench.board.pulses} == {37474}  # 82 ms of 457 kHz
    assert bench.ends() == [wire.END_CAP]


def test_phase_is_kept_through_rest_and_return() -> None:
    cues = [[AT, 0, 0, True], [AT, 5_500, 0, False], [AT, 90_700, 0, True]]
    bench = DeviceBench()
    bench.run(cues=cues, period_us=900_001, phase_us=250_000)
    bench.pass_ms(120_000)
    places = [(at_us - 250_000) / 900_001 for at_us in bench.pulse_times_us()]
    assert places == [0, 1, 2, 3, 4, 5, *range(101, 134)]


def test_a_rest_cuts_the_pulse_short() -> None:
    bench = DeviceBench()
    bench.run(cues=[[AT, 0, 0, True], [AT, 2_040, 0, False]])
    bench.pass_ms(5_000)
    begin_us, _, end_us = bench.board.pulses[-1]
    assert (begin_us - bench.start_us, end_us - begin_us) == (2_000_000, 40_000)


def test_late_pulses_are_left_out_rather_than_misplaced() -> None:
    bench = DeviceBench()
    bench.run()
    bench.pass_ms(1_500)
    bench.freeze(3_530_000)  # pulse 5 is 30 ms late: still in its place for a receiver
    bench.pass_ms(1_500)
    assert bench.pulse_times_us() == [0, 1_000_000, 5_030_000, 6_000_000]
    bench.freeze(550_000)  # pulse 7 would be 80 ms late
    bench.pass_ms(1_000)
    assert bench.pulse_times_us()[4:] == [8_000_000]


def test_a_train_of_another_revision_begins_in_its_own_place() -> None:
    bench = DeviceBench()
    bench.run()
    bench.pass_ms(3_020)
    bench.load(1, revision=2, period_us=800_000, phase_us=100_000)
    assert bench.ask(wire.REVISE, 1, False, 0) == [wire.DONE]
    bench.pass_ms(1_000)
    assert bench.pulse_times_us()[4:] == [3_300_000]


def test_another_train_begins_with_a_pulse_that_is_still_to_come() -> None:
    bench = DeviceBench()
    bench.run()
    bench.pass_ms(3_020)
    bench.load(1, revision=2, phase_us=10_000)  # due 10 ms ago, on top of the old one
    assert bench.ask(wire.REVISE, 1, False, 0) == [wire.DONE]
    bench.pass_ms(1_000)
    assert bench.pulse_times_us() == [0, 1_000_000, 2_000_000, 3_000_000, 4_010_000]


def test_a_revision_within_the_ms_of_a_pulse_loses_none() -> None:
    bench = DeviceBench()
    bench.run(phase_us=500)
    bench.pass_ms(3_000)
    bench.load(1, revision=2, phase_us=500)
    assert bench.ask(wire.REVISE, 1, False, 0) == [wire.DONE]
    bench.pass_ms(1_000)
    assert bench.pulse_times_us() == [k * 1_000_000 + 500 for k in range(4)]


def test_the_same_train_goes_on_through_a_revision_without_a_second_pulse() -> None:
    bench = DeviceBench()
    bench.run()
    bench.pass_ms(3_020)  # 20 ms into a pulse
    bench.load(1, revision=2)
    assert bench.ask(wire.REVISE, 1, False, 0) == [wire.DONE]
    bench.pass_ms(2_000)
    assert bench.pulse_times_us() == [k * 1_000_000 for k in range(6)]
    assert bench.board.pulses[3][2] - bench.board.pulses[3][0] == 82_000


@given(
    st.integers(0, WRAP - 1),
    st.integers(0, 999),
    st.integers(wire.PERIOD_MIN_US, wire.PERIOD_MAX_US),
    st.data(),
)
def test_the_train_is_arithmetic(ms: int, us: int, period_us: int, data: st.DataObject) -> None:
    phase_us = data.draw(st.integers(0, period_us - 1))
    keying = Keying()
    keying.begin(ms, us, period_us, 82_000, phase_us)
    for k in range(50):
        at_us = ms * 1000 + us + phase_us + k * period_us
        assert (keying.ms, keying.us) == (at_us // 1000 % WRAP, at_us % 1000)
        keying.step()


@given(st.integers(wire.ON_MIN_US, wire.ON_MAX_US))
def test_a_pulse_is_its_length_in_carrier_periods(on_us: int) -> None:
    keying = Keying()
    keying.begin(0, 0, 1_000_000, on_us, 0)
    assert abs(keying.periods / 457_000 - on_us * 1e-6) <= 0.5 / 457_000 + 1e-12


@given(st.integers(0, 999), st.integers(wire.ON_MIN_US, wire.ON_MAX_US), st.integers(-2, 3))
def test_a_pulse_that_would_outlive_its_limit_is_not_begun(us: int, on_us: int, more: int) -> None:
    left_ms = on_us // 1000 + more
    keying = Keying()
    keying.begin(0, 0, 1_000_000, on_us, 0)
    assert keying.ends_within(left_ms, us) == (us + on_us <= left_ms * 1000)


def test_a_new_clock_is_five_minutes_after_its_zero() -> None:
    keying, clock = Keying(), Clock()
    keying.begin(300_001, 250, 1_000_000, 82_000, 0)
    assert keying.due_us(clock) == 1_250
