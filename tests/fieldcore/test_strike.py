"""The strike detector on the stated signal model. Full figures: tests/benchmarks/strike.py."""

from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blindfield.links.sim.strikes import ACCELEROMETER, PLATE, Sensor, generate
from blindfield.model.settings import SETTINGS
from fieldcore.sensor import Block, check, defaults
from fieldcore.strike import CLIPPED, PUSH, REPEAT, SHARP, StrikeDetector
from support.interpreters import run_micropython
from support.samples import Felt, blocks, play

BOTH = ACCELEROMETER | PLATE
DRAWS = 60
RATES_HZ = (800.0, 1600.0)
NAMES = [row.name for row in SETTINGS]
Frames = list[tuple[int, int, int, int]]


def detector(channels: int = BOTH) -> StrikeDetector:
    return StrikeDetector(defaults(channels), channels)


def share_felt(
    kind: str, rate_hz: float, channels: int = BOTH, distance_m: float = 0.1, draws: int = DRAWS
) -> float:
    rng = Random(f"{kind} {rate_hz} {distance_m}")
    felt = 0
    for _ in range(draws):
        sensor = Sensor(channels=channels)
        signal = generate(kind, rng, rate_hz, distance_m=distance_m, sensor=sensor)
        felt += bool(play(detector(channels), signal.frames, rate_hz))
    return felt / draws


def still(count: int, base: tuple[int, int, int, int] = (120, -300, 940, 5)) -> Frames:
    """Frames of a target at rest, with a little noise."""
    rng = Random(count)
    return [tuple(v + rng.randrange(-3, 4) for v in base) for _ in range(count)]  # type: ignore[misc]


def hit(frames: Frames, at: int, size: int = 1500, plate: int = 150) -> Frames:
    """The same frames with a short blow at frame `at`."""
    shape = (1.0, 0.4, -0.3, 0.1)
    for k, factor in enumerate(shape):
        x, y, z, p = frames[at + k]
        frames[at + k] = (x, y, z + int(size * factor), p + int(plate * abs(factor)))
    return frames


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("channels", [ACCELEROMETER, BOTH])
def test_sharp_hits_are_felt(rate_hz: float, channels: int) -> None:
    assert share_felt("sharp", rate_hz, channels) >= 0.95


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_slow_pushes_are_felt_by_the_plate(rate_hz: float) -> None:
    assert share_felt("push", rate_hz) >= 0.93


@pytest.mark.parametrize("channels", [ACCELEROMETER, BOTH])
@pytest.mark.parametrize(
    ("kind", "distance_m", "most"),
    [("quiet", 1.0, 0.0), ("miss", 0.1, 0.03), ("miss", 0.3, 0.01), ("neighbour", 1.0, 0.0)],
)
def test_what_is_no_strike_is_not_felt(
    kind: str, distance_m: float, most: float, channels: int
) -> None:
    assert share_felt(kind, 800.0, channels, distance_m) <= most


@pytest.mark.parametrize("kind", ["steps", "shovel", "lift"])
def test_people_above_a_target_with_a_plate_are_not_felt(kind: str) -> None:
    assert share_felt(kind, 800.0, BOTH, 0.5, draws=25) == 0.0


def test_a_sharp_hit_is_stamped_within_two_frames() -> None:
    rng = Random(8)
    errors_ms = []
    for _ in range(DRAWS):
        signal = generate("sharp", rng, 800.0)
        assert signal.onset_s is not None
        found = play(detector(), signal.frames, 800.0)
        errors_ms += [1e3 * (f.at_s - signal.onset_s) for f in found if f.kind == SHARP]
    errors_ms.sort()
    assert len(errors_ms) > 0.9 * DRAWS
    assert -0.1 <= errors_ms[len(errors_ms) // 2] <= 0.5  # a frame is 1.25 ms
    errors_ms.sort(key=abs)
    assert abs(errors_ms[int(0.95 * len(errors_ms))]) <= 2.5


def test_a_push_is_called_a_push_and_its_start_lies_before_its_finding() -> None:
    rng = Random(3)
    found = []
    for _ in range(40):
        signal = generate("push", rng, 800.0, strength=1.5)
        assert signal.onset_s is not None
        found += [(f.kind, f.at_s - signal.onset_s) for f in play(detector(), signal.frames, 800.0)]
    assert sum(kind == PUSH for kind, _ in found) >= 36
    late = sorted(late_s for kind, late_s in found if kind == PUSH)
    assert abs(late[len(late) // 2]) <= 0.05
    assert late[-1] <= 0.1


def test_ring_down_and_rebound_are_one_strike() -> None:
    frames = hit(hit(hit(still(2000), 400), 430), 460)
    assert [f.kind for f in play(detector(), frames, 800.0)] == [SHARP]


def test_a_second_hit_is_heard_150_ms_later_but_not_what_may_be_ringing() -> None:
    for size, expected in ((4000, 2), (400, 1)):
        strike = detector()
        frames = hit(hit(still(800), 416, 6000), 416 + 122, size)
        sharps = 0
        for block in blocks(frames, 800.0):
            strike.feed(block)
            sharps += strike.sharp_count
        assert sharps == expected


def test_the_same_blows_have_the_same_strength_at_any_rate() -> None:
    medians = []
    for rate_hz in (800.0, 1000.0, 1250.0, 1600.0):
        rng = Random(12)
        strengths = []
        for _ in range(60):
            frames = generate("sharp", rng, rate_hz).frames
            strengths += [f.strength for f in play(detector(), frames, rate_hz)]
        medians.append(sorted(strengths)[len(strengths) // 2])
    assert max(medians) < 1.25 * min(medians)


def test_a_load_that_takes_seconds_is_not_a_push() -> None:
    """3 mm of travel in 10 s, as of someone sitting down slowly far above."""
    slow = [(x, y, z, p + min(300, i * 300 // 8000)) for i, (x, y, z, p) in enumerate(still(9000))]
    quick = [(x, y, z, p + min(300, max(0, i - 900))) for i, (x, y, z, p) in enumerate(still(9000))]
    assert play(detector(), slow, 800.0) == []
    assert [f.kind for f in play(detector(), quick, 800.0)] == [PUSH]


def test_a_second_strike_after_the_refractory_time_is_told_as_a_repeat() -> None:
    frames = hit(hit(hit(still(10000), 400), 1400), 9700)  # 1.25 s and 10.4 s apart
    assert [f.flags & REPEAT for f in play(detector(), frames, 800.0)] == [0, REPEAT, 0]


def test_strength_grows_with_the_blow_and_ends_at_255() -> None:
    strengths = [
        play(detector(), hit(still(1000), 400, size), 800.0)[0].strength
        for size in (500, 1000, 4000, 15000)
    ]
    assert strengths == sorted(strengths)
    assert strengths[0] < 30
    assert strengths[-1] == 255


def test_a_sensor_at_its_end_is_flagged() -> None:
    weak = play(detector(), hit(still(1000), 400, 3000), 800.0)
    hard = play(detector(), hit(still(1000), 400, 15000), 800.0)
    assert [f.flags & CLIPPED for f in (*weak, *hard)] == [0, CLIPPED]


@pytest.mark.parametrize("base", [(120, -300, 940, 5), (-900, 400, 100, 60)])
def test_a_hit_that_wakes_the_sensor_is_felt(base: tuple[int, int, int, int]) -> None:
    """Asleep for a minute, even turned meanwhile; the hit comes 32 samples after the gap."""
    strike = detector()
    assert play(strike, still(800), 800.0) == []
    woken = hit(still(300, base), 32)
    found = play(strike, woken, 800.0, first_us=61_000_000)
    assert [(f.kind, round(f.at_s, 2)) for f in found] == [(SHARP, 0.04)]


def test_time_since_the_last_strike_survives_the_wrap_and_a_long_sleep() -> None:
    strike = detector()
    near_wrap_us = (1 << 30) - 400_000
    first = play(strike, hit(still(800), 400), 800.0, near_wrap_us)
    second = play(strike, hit(still(1600), 1000), 800.0, near_wrap_us + 1_000_000)
    # 10 min later: more than half the tick circle
    third = play(strike, hit(still(800), 400), 800.0, near_wrap_us + 600_000_000)
    assert [f.flags for f in (*first, *second, *third)] == [0, REPEAT, 0]
    assert first[0].at_s == pytest.approx(0.5, abs=0.002)


def test_slow_creep_is_followed() -> None:
    """Snow settles: 3 mm of plate travel and 10 degrees in five minutes."""
    frames = [
        (x + 170 * i // 240_000, y, z, p + 300 * i // 240_000)
        for i, (x, y, z, p) in enumerate(still(1000) * 240)
    ]
    assert play(detector(), frames, 800.0) == []


def test_a_load_that_stays_becomes_the_new_rest() -> None:
    loaded = [(x, y, z, p + min(i, 4000) // 20) for i, (x, y, z, p) in enumerate(still(8000))]
    strike = detector()
    play(strike, loaded, 800.0)
    assert [f.kind for f in play(strike, hit(still(800, (120, -300, 940, 205)), 400), 800.0)] == [
        SHARP
    ]


@settings(max_examples=25, deadline=None)
@given(per_block=st.integers(2, 32).map(lambda n: 2 * n), at=st.integers(200, 500))
def test_how_samples_are_cut_into_blocks_does_not_matter(per_block: int, at: int) -> None:
    whole = play(detector(), hit(still(800), at), 800.0)
    cut = play(detector(), hit(still(800), at), 800.0, per_block=per_block)
    assert [f.kind for f in cut] == [f.kind for f in whole] == [SHARP]
    assert cut[0].at_s == pytest.approx(whole[0].at_s, abs=0.00126)
    assert cut[0].at_s == pytest.approx(at / 800.0, abs=0.0013)


def test_every_sharp_hit_is_told_before_the_refractory_time() -> None:
    strike = detector()
    frames = still(2400)
    for k in range(5):
        hit(frames, 400 + 280 * k)
    at_s: list[float] = []
    found: list[Felt] = []
    for number, block in enumerate(blocks(frames, 800.0)):
        count = strike.feed(block)
        found += [Felt(f.kind, f.at_us, f.strength, f.flags) for f in strike.findings[:count]]
        told = strike.sharp_at_us[: strike.sharp_count]
        at_s += [number * 0.04 + at_us / 1e6 for at_us in told]
    assert [round(t, 2) for t in at_s] == [0.5, 0.85, 1.2, 1.55, 1.9]
    assert len(found) == 2  # 0.5 s and, 800 ms later, 1.55 s


def test_an_empty_block_changes_nothing() -> None:
    assert detector().feed(Block()) == 0


def test_defaults_are_legal_on_every_board() -> None:
    check(defaults(ACCELEROMETER))
    check(defaults(BOTH))


@pytest.mark.parametrize("place", range(len(SETTINGS)))
def test_a_setting_out_of_range_is_refused_by_its_place(place: int) -> None:
    spec = SETTINGS[place]
    for value in (spec.least - 1, spec.most + 1):
        wrong = defaults()
        wrong[place] = value
        with pytest.raises(ValueError, match=f"^{place}$"):
            StrikeDetector(wrong, BOTH)
    assert defaults()[place] == spec.default
    for value in (spec.least, spec.most):
        right = defaults()
        right[place] = value
        check(right)
    assert len(set(NAMES)) == len(NAMES)


def test_a_list_of_the_wrong_length_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^0$"):
        check(defaults()[:-1])


LOCKED = """
import micropython
from fieldcore.knock import KnockDetector
from fieldcore.sensor import Block, defaults
from fieldcore.strike import StrikeDetector
from fieldcore.tilt import TiltDetector
strike = StrikeDetector(defaults(), 3)
knock = KnockDetector()
tilt = TiltDetector()
block = Block(32)
block.count = 32
def fill(size):
    for i in range(32):
        for k in range(4):
            block.frames[4 * i + k] = 1000 * (k == 2) + (i * 7 + k) % 5
    block.frames[64 + 2] += size
    block.frames[64 + 3] += size // 10
def feed(count):
    found = 0
    for _ in range(count):
        found += strike.feed(block)
        knock.take(strike, block)
        knock.advance(block.first_us)
        tilt.feed(block)
        block.first_us = (block.first_us + 40000) & 0x3FFFFFFF
    return found
fill(0)
feed(3)
micropython.heap_lock()
quiet = feed(100)
micropython.heap_unlock()
fill(2000)
micropython.heap_lock()
loud = feed(1)
micropython.heap_unlock()
print(quiet, loud)
"""


def test_neither_a_quiet_block_nor_a_hit_allocates() -> None:
    assert run_micropython(LOCKED).split() == ["0", "1"]
