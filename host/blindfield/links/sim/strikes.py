"""The stated signal model: what a buried target's sensors are assumed to feel.

UNPROVEN UNTIL CALIBRATED IN THE GROUND. No recorded probe strike was found anywhere, so every
figure marked "assumed" below is an engineer's estimate without a source; only the spread of a
load in the ground (Boussinesq's point load on an elastic half-space, as in any soil mechanics
textbook, quoted from memory) and the acceleration of gravity have one. What a detector scores
on this model says that its logic works, not that it works in snow.

The target is a body with an accelerometer (x, y, z in mg) and, on some boards, a plate on springs
whose travel is measured (0.01 mm). It lies in any attitude. A signal is a sum of sources, each
acting along the plate's normal, across it, and on the plate; then noise, rounding and clipping.
The standard library alone is used: the rig and simulated boards draw from here too.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from random import Random

from blindfield.links.sim.shapes import (
    Body,
    Frame,
    Source,
    handled,
    noise_burst,
    pulse,
    ramp_and_hold,
    ringing,
    step_load,
)

ACCELEROMETER = 1  # channel bits, as a board states them
PLATE = 2

STANDARD_GRAVITY_M_S2 = 9.80665  # CGPM 1901
# -- the target; all assumed, no source
MOVING_MASS_KG = 4.0  # a pack-sized body with the snow that moves with it
PLATE_AREA_M2 = 0.12  # 0.3 m x 0.4 m
PLATE_HALF_WIDTH_M = 0.17
PLATE_STIFFNESS_N_M = 50e3
PLATE_MASS_KG = 0.5
SNOW_STIFFNESS_N_M = (20e3, 80e3)  # under the body, log-uniform
BODY_LENGTH_M = 0.35
# -- the probe; all assumed, no source
IMPULSE_N_S = (0.35, 0.5)  # of a sharp hit: median, sigma of its logarithm
CONTACT_S = (0.003, 0.008)  # length of the contact
PUSH_N = (100.0, 0.35)  # of a slow push: median, sigma of its logarithm
PUSH_RAMP_S = (0.05, 0.4)  # log-uniform
PACK_TRANSFER = (0.6, 0.95)  # share of a push that a soft pack hands on to the plate
TIP_N = (40.0, 0.5)  # resistance of snow to the tip: median, sigma of its logarithm
HARD_STOP_SHARE = 0.25  # misses that end on ice or ground, as sharply as a hit
# -- the way through snow; all assumed, no source
COUPLING_AT_10_CM = 0.1  # 20 dB from a struck body to one 10 cm away; then as 1/distance
ICE_SHARE = 0.1  # draws in which an ice layer couples ...
ICE_FACTOR = 3.0  # ... this much better
SNOW_SOFTENING = 3.0  # a blow's length grows by this on its way (high frequencies are eaten)
# -- people above; all assumed, no source
WALKER_N = 800.0  # an 80 kg person
TREAD_MG = (150.0, 0.5)  # heel thump felt 0.5 m away: median, sigma; as 1/distance
BLADE_MG = (300.0, 0.5)  # shovel blow felt 0.5 m away


@dataclass(frozen=True)
class Signal:
    """One drawn signal.

    `frames` are (x, y, z, plate) in mg and 0.01 mm, `rate_hz` apart; `onset_s` is the true first
    contact counted from the first frame, or None where the target is not touched; `knocks_s` are
    the contacts of a knock pattern.
    """

    frames: list[Frame]
    rate_hz: float
    onset_s: float | None
    knocks_s: tuple[float, ...] = ()


@dataclass(frozen=True)
class Sensor:
    """The sensor of a board. Values assumed from common low-cost parts, no source."""

    noise_mg: float = 3.0
    plate_noise: float = 1.0
    clip_mg: int = 16000
    channels: int = ACCELEROMETER | PLATE


@dataclass(frozen=True)
class Draw:
    """What a kind needs to draw its sources."""

    rng: Random
    strength: float
    start_s: float
    distance_m: float

    def spread(self, median_sigma: tuple[float, float]) -> float:
        median, sigma = median_sigma
        return median * math.exp(sigma * self.rng.gauss(0.0, 1.0))

    def between(self, low_high: tuple[float, float]) -> float:
        return self.rng.uniform(*low_high)

    def log_between(self, low_high: tuple[float, float]) -> float:
        return math.exp(self.rng.uniform(math.log(low_high[0]), math.log(low_high[1])))


def load_share(depth_m: float, offset_m: float) -> float:
    """Share of a surface load that reaches the plate: Boussinesq, 3 z^3 A / (2 pi R^5), at most 1.

    The load stands `depth_m` above the plate and `offset_m` beside its middle.
    """
    reach_m = math.hypot(depth_m, offset_m)
    return min(1.0, 3.0 * depth_m**3 * PLATE_AREA_M2 / (2.0 * math.pi * reach_m**5))


def beside_share(distance_m: float) -> float:
    """Largest share of a probe's tip force that reaches the plate as it passes its edge.

    load_share is largest where the tip stands sqrt(1.5) times its offset above the plate.
    """
    offset_m = distance_m + PLATE_HALF_WIDTH_M
    return load_share(math.sqrt(1.5) * offset_m, offset_m)


def coupling(draw: Draw) -> float:
    """How much of a blow's acceleration arrives through `distance_m` of snow."""
    factor = ICE_FACTOR if draw.rng.random() < ICE_SHARE else 1.0
    return factor * COUPLING_AT_10_CM * 0.1 / draw.distance_m


def travel(force_n: float) -> float:
    """Plate travel under a steady force, in 0.01 mm."""
    return 1e5 * force_n / PLATE_STIFFNESS_N_M


def tilt(force_n: float, arm_m: float, stiffness_n_m: float) -> float:
    """What a steady force beside the middle turns into gravity across the normal, in mg.

    The body is a beam on springs: turning it takes stiffness x length^2 / 12.
    """
    return 1000.0 * force_n * arm_m / (stiffness_n_m * BODY_LENGTH_M**2 / 12.0)


def _blow(draw: Draw, at_s: float) -> list[Source]:
    """A probe's contact with the plate: the pulse, the ring-down, the plate's swing."""
    impulse_n_s = draw.strength * draw.spread(IMPULSE_N_S)
    contact_s = draw.between(CONTACT_S)
    off_centre = draw.rng.random()  # 0 middle, 1 edge
    direct = 1.0 - 0.5 * off_centre
    peak_mg = 1000.0 * math.pi * impulse_n_s / (2.0 * MOVING_MASS_KG * contact_s)
    peak_mg *= direct / STANDARD_GRAVITY_M_S2
    ring_hz = draw.between((80.0, 250.0))  # the body's stiff parts, assumed
    ring_s = draw.between((4.0, 12.0)) / (math.pi * ring_hz)  # Q of 4 to 12, assumed
    swing_hz = math.sqrt(PLATE_STIFFNESS_N_M / PLATE_MASS_KG) / (2.0 * math.pi)
    swing = 1e5 * direct * impulse_n_s / (PLATE_MASS_KG * 2.0 * math.pi * swing_hz)
    across = draw.between((0.1, 0.3)) + 0.4 * off_centre
    return [
        pulse(at_s, contact_s, peak_mg, across * peak_mg),
        ringing(at_s, ring_hz, ring_s, draw.between((0.2, 0.6)) * peak_mg, across * peak_mg / 3),
        ringing(at_s, swing_hz, 3.0 / (math.pi * swing_hz), plate=swing),
    ]


def _approach(draw: Draw, near: float) -> list[Source]:
    """The probe coming down through the snow before a contact; `near` scales what is felt."""
    begin_s = max(0.0, draw.start_s - draw.between((0.2, 0.8)))
    press = travel(draw.spread(TIP_N)) * near * beside_share(0.0)
    scrape_mg = near * draw.between((2.0, 20.0))
    return [
        noise_burst(draw.rng, begin_s, draw.start_s, scrape_mg),
        ramp_and_hold(draw.start_s - 0.15, 0.15, 0.0, 0.05, plate=press),
    ]


def _sharp(draw: Draw) -> list[Source]:
    held = travel(draw.between((0.0, 30.0)))  # the hand on the probe afterwards, N
    hold_s = draw.between((0.2, 1.0))
    return [
        *_approach(draw, 1.0),
        *_blow(draw, draw.start_s),
        ramp_and_hold(draw.start_s, 0.03, hold_s, 0.2, plate=held),
    ]


def _push(draw: Draw) -> list[Source]:
    force_n = draw.strength * draw.spread(PUSH_N)
    ramp_s = draw.log_between(PUSH_RAMP_S)
    hold_s = draw.between((0.3, 1.5))
    stiffness_n_m = draw.log_between(SNOW_STIFFNESS_N_M)
    arm_m = draw.rng.uniform(0.0, 0.12)  # how far off centre
    return [
        *_approach(draw, 1.0),
        ramp_and_hold(
            draw.start_s, ramp_s, hold_s, draw.between((0.1, 0.3)),
            sink_mm=1000.0 * force_n / stiffness_n_m,
            across_mg=tilt(force_n, arm_m, stiffness_n_m),
            plate=travel(force_n * draw.between(PACK_TRANSFER)),
        ),
        noise_burst(draw.rng, draw.start_s, draw.start_s + ramp_s, draw.between((5.0, 30.0))),
    ]  # fmt: skip


def _miss(draw: Draw) -> list[Source]:
    """The probe goes down `distance_m` beside the target's edge; some end on something hard."""
    share = beside_share(draw.distance_m)
    near = 0.1 / draw.distance_m
    force_n = draw.strength * draw.spread(TIP_N)
    stiffness_n_m = draw.log_between(SNOW_STIFFNESS_N_M)
    pass_s = draw.between((0.1, 0.4))
    sources = [
        noise_burst(draw.rng, draw.start_s, draw.start_s + pass_s, near * draw.between((2, 20))),
        ramp_and_hold(
            draw.start_s, pass_s, draw.between((0.0, 1.0)), 0.2,
            sink_mm=1000.0 * force_n * share / stiffness_n_m,
            across_mg=tilt(force_n * share, PLATE_HALF_WIDTH_M, stiffness_n_m),
            plate=travel(force_n * share),
        ),
    ]  # fmt: skip
    if draw.rng.random() < HARD_STOP_SHARE:
        sources += _through_snow(draw, _blow(draw, draw.start_s + pass_s), share)
    return sources


def _through_snow(draw: Draw, blow: Iterable[Source], plate_share: float) -> list[Source]:
    factor = coupling(draw)
    return [source.carried(factor, plate_share, SNOW_SOFTENING) for source in blow]


def _neighbour(draw: Draw) -> list[Source]:
    return _through_snow(draw, _blow(draw, draw.start_s), load_share(0.05, draw.distance_m))


def _steps(draw: Draw, count: int = 4) -> list[Source]:
    """Steps on the surface, nearest `distance_m` beside the target, 0.7 m to 1.5 m above it."""
    depth_m = draw.between((0.7, 1.5))
    snow_n_m = draw.log_between(SNOW_STIFFNESS_N_M)
    sources: list[Source] = []
    at_s = draw.start_s
    for number in range(count):
        offset_m = math.hypot(draw.distance_m, 0.7 * (number - count // 2))
        thump_mg = draw.spread(TREAD_MG) * 0.5 / math.hypot(depth_m, offset_m)
        force_n = WALKER_N * draw.strength * load_share(depth_m, offset_m)
        arm_m = min(0.06, offset_m)  # a load this far away presses evenly but for a little, assumed
        sources += [
            pulse(at_s, draw.between((0.015, 0.03)), thump_mg, thump_mg / 3),
            noise_burst(draw.rng, at_s, at_s + 0.25, thump_mg / 5),
            step_load(
                at_s, draw.between((0.55, 0.7)), travel(force_n), tilt(force_n, arm_m, snow_n_m)
            ),
        ]
        at_s += draw.between((0.5, 0.75))
    return sources


def _shovel(draw: Draw, count: int = 3) -> list[Source]:
    """Blows of a blade in snow `distance_m` away, and the scrape that follows each."""
    sources: list[Source] = []
    snow_n_m = draw.log_between(SNOW_STIFFNESS_N_M)
    at_s = draw.start_s
    for _ in range(count):
        force_n = draw.between((50.0, 200.0)) * load_share(0.5, draw.distance_m)
        blow_mg = draw.strength * draw.spread(BLADE_MG) * 0.5 / draw.distance_m
        sources += [
            pulse(at_s, draw.between((0.008, 0.02)), blow_mg, blow_mg / 2),
            noise_burst(draw.rng, at_s, at_s + 0.4, blow_mg / 8),
            step_load(at_s, 0.4, travel(force_n), tilt(force_n, 0.06, snow_n_m)),
        ]
        at_s += draw.between((1.2, 2.0))
    return sources


def _lift(draw: Draw) -> list[Source]:
    turn_s = draw.between((0.8, 2.5))
    angle_rad = math.radians(draw.between((60.0, 170.0)))
    return [handled(draw.rng, draw.start_s, turn_s, angle_rad, shake_mg=draw.between((50, 200)))]


def _lift_and_put_back(draw: Draw) -> list[Source]:
    turn_s = draw.between((0.8, 2.5))
    angle_rad = math.radians(draw.between((60.0, 170.0)))
    back_s = draw.start_s + turn_s + draw.between((2.0, 4.0))
    shake_mg = draw.between((50.0, 200.0))
    return [
        handled(draw.rng, draw.start_s, turn_s, angle_rad, shake_mg),
        handled(draw.rng, back_s, turn_s, -angle_rad, shake_mg),
    ]


def knock_times(draw: Draw, count: int = 5) -> tuple[float, ...]:
    """An even hand: 250-550 ms between knocks, each gap within 10 % of that (assumed)."""
    gap_s = draw.between((0.25, 0.55))
    times_s = [draw.start_s]
    for _ in range(count - 1):
        times_s.append(times_s[-1] + gap_s * draw.between((0.9, 1.1)))
    return tuple(times_s)


_KINDS: dict[str, tuple[Callable[[Draw], list[Source]], bool, float]] = {
    # kind: (its sources, whether the probe touches the target, seconds after the start)
    "quiet": (lambda _draw: [], False, 1.0),
    "sharp": (_sharp, True, 1.0),
    "push": (_push, True, 1.6),
    "miss": (_miss, False, 1.2),
    "neighbour": (_neighbour, False, 0.6),
    "steps": (_steps, False, 3.5),
    "shovel": (_shovel, False, 5.0),
    "lift": (_lift, False, 5.0),
    "lift and put back": (_lift_and_put_back, False, 12.0),
    "knock": (lambda _draw: [], True, 4.5),
}
KINDS = tuple(_KINDS)


def generate(
    kind: str,
    rng: Random,
    rate_hz: float = 800.0,
    strength: float = 1.0,
    distance_m: float = 0.1,
    pre_roll_s: float = 0.5,
    sensor: Sensor | None = None,
) -> Signal:
    """Draw one signal of `kind` (one of KINDS) from `rng`.

    `strength` scales force or impulse; `distance_m` serves miss, neighbour, steps and shovel.
    `pre_roll_s` is the quiet lead (with the probe's approach in it); the contact falls anywhere
    between two frames. Raises KeyError for an unknown kind.
    """
    sources_of, touched, after_s = _KINDS[kind]
    sensor = sensor or Sensor()
    start_s = pre_roll_s + rng.random() / rate_hz
    draw = Draw(rng, strength, start_s, distance_m)
    knocks_s = knock_times(draw) if kind == "knock" else ()
    sources = [source for at_s in knocks_s for source in _blow(draw, at_s)] or sources_of(draw)
    frames = Body(rng).feel(
        sources, rate_hz, pre_roll_s + after_s,
        noise=(sensor.noise_mg, sensor.plate_noise),
        clip_mg=sensor.clip_mg,
        has_plate=bool(sensor.channels & PLATE),
    )  # fmt: skip
    return Signal(frames, rate_hz, start_s if touched else None, knocks_s)
