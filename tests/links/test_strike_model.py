"""The stated strike model: its published part, its limits, and that it is what it says."""

import math
from itertools import pairwise
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blindfield.links.sim.strikes import (
    ACCELEROMETER,
    KINDS,
    PLATE,
    PLATE_AREA_M2,
    PLATE_HALF_WIDTH_M,
    Sensor,
    beside_share,
    generate,
    load_share,
    travel,
)

QUIET_SENSOR = Sensor(noise_mg=0.0, plate_noise=0.0)


def sway_mg(frames: list[tuple[int, int, int, int]]) -> float:
    """Largest departure from the first frame."""
    return max(math.dist(frame[:3], frames[0][:3]) for frame in frames)


def test_a_load_right_above_follows_boussinesq() -> None:
    """Stress under a point load: 3 P / (2 pi z^2), 0.4775 P/z^2 (the textbook influence value)."""
    assert load_share(1.0, 0.0) / PLATE_AREA_M2 == pytest.approx(0.4775, abs=1e-4)
    assert load_share(2.0, 0.0) == pytest.approx(load_share(1.0, 0.0) / 4.0)
    # influence value at offset/depth = 1: 0.0844 (same textbooks)
    assert load_share(1.0, 1.0) / PLATE_AREA_M2 == pytest.approx(0.0844, abs=1e-4)
    assert load_share(0.01, 0.0) == 1.0


@settings(max_examples=60, deadline=None)
@given(distance_m=st.floats(0.2, 2.0), depth_m=st.floats(0.01, 5.0))
def test_the_share_beside_a_plate_is_the_largest_at_any_depth(
    distance_m: float, depth_m: float
) -> None:
    offset_m = distance_m + PLATE_HALF_WIDTH_M
    assert load_share(depth_m, offset_m) <= beside_share(distance_m) * (1.0 + 1e-9)


def test_travel_is_the_springs() -> None:
    assert travel(50.0) == pytest.approx(100.0)  # 50 N on 50 N/mm: 1 mm


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_is_drawn_alike_from_the_same_seed_and_starts_at_rest(kind: str) -> None:
    first = generate(kind, Random(4), 800.0, distance_m=0.5)
    again = generate(kind, Random(4), 800.0, distance_m=0.5)
    other = generate(kind, Random(5), 800.0, distance_m=0.5)
    assert first == again
    assert first.frames != other.frames
    lengths_mg = [math.hypot(*frame[:3]) for frame in first.frames[:40]]
    assert sum(lengths_mg) / len(lengths_mg) == pytest.approx(1000.0, abs=10.0)


def test_only_what_touches_the_target_has_an_onset() -> None:
    touching = {k for k in KINDS if generate(k, Random(1), distance_m=1.0).onset_s is not None}
    assert touching == {"sharp", "push", "knock"}


def test_the_pulse_begins_at_the_stated_onset() -> None:
    for seed in range(20):
        signal = generate("sharp", Random(seed), 1600.0, strength=3.0, sensor=QUIET_SENSOR)
        assert signal.onset_s is not None
        first = math.ceil(signal.onset_s * 1600.0)
        before = signal.frames[first - 3 : first]
        after = signal.frames[first : first + 10]
        assert sway_mg(before) < 100.0
        assert sway_mg([before[0], *after]) > 500.0


def test_knocks_are_five_and_even() -> None:
    for seed in range(20):
        times_s = generate("knock", Random(seed)).knocks_s
        gaps_s = [b - a for a, b in pairwise(times_s)]
        assert len(times_s) == 5
        assert max(gaps_s) / min(gaps_s) < 1.25


def test_a_board_without_a_plate_reads_zero_there() -> None:
    signal = generate("push", Random(2), sensor=Sensor(channels=ACCELEROMETER))
    assert {frame[3] for frame in signal.frames} == {0}
    assert max(frame[3] for frame in generate("push", Random(2)).frames) > 50
    assert Sensor().channels == ACCELEROMETER | PLATE


def test_readings_end_at_the_sensors_limit() -> None:
    sensor = Sensor(clip_mg=2000)
    frames = generate("sharp", Random(3), strength=10.0, sensor=sensor).frames
    assert max(abs(v) for frame in frames for v in frame[:3]) == 2000


def test_noise_has_the_stated_size() -> None:
    sensor = Sensor(noise_mg=8.0, plate_noise=3.0)
    frames = generate("quiet", Random(9), 1600.0, sensor=sensor).frames
    for axis, expected in ((0, 8.0), (3, 3.0)):
        values = [frame[axis] for frame in frames]
        mean = sum(values) / len(values)
        rms = math.sqrt(sum((v - mean) ** 2 for v in values) / len(values))
        assert rms == pytest.approx(expected, rel=0.12)


@pytest.mark.parametrize("kind", ["miss", "neighbour", "shovel"])
def test_distance_weakens(kind: str) -> None:
    def mean_sway_mg(distance_m: float) -> float:
        return sum(
            sway_mg(generate(kind, Random(s), distance_m=distance_m, sensor=QUIET_SENSOR).frames)
            for s in range(15)
        )

    assert mean_sway_mg(0.2) > 1.5 * mean_sway_mg(0.6)


def test_a_lift_stays_turned_and_putting_back_turns_back() -> None:
    lifted = generate("lift", Random(6), sensor=QUIET_SENSOR).frames
    back = generate("lift and put back", Random(6), sensor=QUIET_SENSOR).frames
    assert math.dist(lifted[0][:3], lifted[-1][:3]) > 900.0
    assert math.dist(back[0][:3], back[-1][:3]) < 10.0


def test_an_unknown_kind_is_refused() -> None:
    with pytest.raises(KeyError):
        generate("avalanche", Random(1))
