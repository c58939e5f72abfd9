"""The elementary shapes of the strike model and the body that feels them.

A Source acts for a while: at a time it gives mg along the plate's normal, mg across it and plate
travel in 0.01 mm. A Body holds the attitude, adds up sources and noise and samples the sum.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from random import Random

Frame = tuple[int, int, int, int]
Felt = tuple[float, float, float]  # mg along the normal, mg across, plate in 0.01 mm
Vector = tuple[float, float, float]

STANDARD_GRAVITY_M_S2 = 9.80665
_PLATE_LIMIT = 32767
_BODY_TILT_RAD = math.radians(25.0)  # the plate's normal against the vertical, at most; assumed


def _gaussian_table(size: int) -> list[float]:
    rng = Random(457)
    return [rng.gauss(0.0, 1.0) for _ in range(size)]


_NOISE = _gaussian_table(8191)  # drawing each value anew would be most of a signal's cost


@dataclass(frozen=True)
class Source:
    """`felt(t)` for t in [0, length_s) after `begin_s`; `turn_rad(t)` turns the whole body."""

    begin_s: float
    length_s: float
    felt: Callable[[float], Felt]
    turn_rad: Callable[[float], float] | None = None

    def carried(self, factor: float, plate_factor: float, softening: float) -> "Source":
        """The same source as another body feels it: weaker, longer, lower in frequency."""

        def felt(t: float) -> Felt:
            along, across, plate = self.felt(t / softening)
            return along * factor, across * factor, plate * plate_factor

        return Source(self.begin_s, self.length_s * softening, felt)


def pulse(at_s: float, length_s: float, along_mg: float, across_mg: float = 0.0) -> Source:
    """Half a sine: a contact."""

    def felt(t: float) -> Felt:
        height = math.sin(math.pi * t / length_s)
        return along_mg * height, across_mg * height, 0.0

    return Source(at_s, length_s, felt)


def ringing(
    at_s: float,
    frequency_hz: float,
    decay_s: float,
    along_mg: float = 0.0,
    across_mg: float = 0.0,
    plate: float = 0.0,
) -> Source:
    """A damped sine that starts from rest; cut off after six decay times."""
    omega = 2.0 * math.pi * frequency_hz

    def felt(t: float) -> Felt:
        height = math.exp(-t / decay_s) * math.sin(omega * t)
        return along_mg * height, across_mg * height, plate * height

    return Source(at_s, 6.0 * decay_s, felt)


def ramp_and_hold(
    at_s: float,
    rise_s: float,
    hold_s: float,
    fall_s: float,
    sink_mm: float = 0.0,
    across_mg: float = 0.0,
    plate: float = 0.0,
) -> Source:
    """A load that comes (raised cosine), stays and goes.

    The plate and the tilt (`across_mg`) follow the load; the body sinks by `sink_mm` with it,
    which is felt as the second derivative, and does not rise again.
    """
    # (1 - cos(pi t / T)) / 2 has the second derivative (pi / T)^2 cos(pi t / T) / 2
    sink_mg = sink_mm * (math.pi / rise_s) ** 2 / 2.0 / STANDARD_GRAVITY_M_S2

    def felt(t: float) -> Felt:
        if t < rise_s:
            cosine = math.cos(math.pi * t / rise_s)
            load = 0.5 - 0.5 * cosine
            return -sink_mg * cosine, across_mg * load, plate * load
        if t < rise_s + hold_s:
            return 0.0, across_mg, plate
        load = 0.5 + 0.5 * math.cos(math.pi * (t - rise_s - hold_s) / fall_s)
        return 0.0, across_mg * load, plate * load

    return Source(at_s, rise_s + hold_s + fall_s, felt)


def step_load(at_s: float, length_s: float, plate: float, across_mg: float) -> Source:
    """A foot's load: comes within a fifth of the contact, stays, goes."""
    edge_s = length_s / 5.0
    return ramp_and_hold(
        at_s, edge_s, length_s - 2.0 * edge_s, edge_s, across_mg=across_mg, plate=plate
    )


def _between(place: int, part: float) -> float:
    size = len(_NOISE)
    return (1.0 - part) * _NOISE[place % size] + part * _NOISE[(place + 1) % size]


def noise_burst(rng: Random, begin_s: float, end_s: float, rms_mg: float) -> Source:
    """Scraping: swelling, fading noise through values 4 ms apart (so mostly below 100 Hz)."""
    offset = rng.randrange(len(_NOISE))
    length_s = max(1e-3, end_s - begin_s)

    def felt(t: float) -> Felt:
        height = rms_mg * math.sqrt(2.0) * math.sin(math.pi * t / length_s)
        place = int(t / 0.004)
        part = t / 0.004 - place
        return (
            height * _between(offset + place, part),
            height * _between(offset + place + 4001, part),
            0.0,
        )

    return Source(begin_s, length_s, felt)


def handled(rng: Random, at_s: float, turn_s: float, angle_rad: float, shake_mg: float) -> Source:
    """Hands turn the body by `angle_rad` within `turn_s` and shake it; the angle stays."""
    rate_hz = rng.uniform(2.0, 5.0)  # a hand's tremble and tug, assumed

    def felt(t: float) -> Felt:
        if t >= turn_s:
            return 0.0, 0.0, 0.0
        height = shake_mg * math.sin(math.pi * t / turn_s) * math.sqrt(2.0)
        phase = 2.0 * math.pi * rate_hz * t
        return height * math.sin(phase), height * math.cos(1.7 * phase), 0.0

    def turn_rad(t: float) -> float:
        return angle_rad * (0.5 - 0.5 * math.cos(math.pi * min(1.0, t / turn_s)))

    return Source(at_s, math.inf, felt, turn_rad)


def _unit(rng: Random) -> Vector:
    height = rng.uniform(-1.0, 1.0)
    around = rng.uniform(0.0, 2.0 * math.pi)
    flat = math.sqrt(1.0 - height * height)
    return flat * math.cos(around), flat * math.sin(around), height


def _cross(a: Vector, b: Vector) -> Vector:
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


def _mix(a: Vector, b: Vector, angle_rad: float) -> Vector:
    """The unit vector `angle_rad` from a towards b, unit vectors at right angles."""
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    return c * a[0] + s * b[0], c * a[1] + s * b[1], c * a[2] + s * b[2]


class Body:
    """A target in a drawn attitude: up and its plate's normal, in its sensor's axes."""

    def __init__(self, rng: Random) -> None:
        self._up = _unit(rng)
        other = _cross(self._up, _unit(rng))
        length = math.sqrt(sum(value * value for value in other)) or 1.0
        self._side = (other[0] / length, other[1] / length, other[2] / length)
        self._normal = _mix(self._up, self._side, rng.uniform(-_BODY_TILT_RAD, _BODY_TILT_RAD))
        self._across = _cross(self._normal, _cross(self._up, self._side))
        self._offsets = tuple(rng.randrange(len(_NOISE)) for _ in range(4))

    def feel(
        self,
        sources: Iterable[Source],
        rate_hz: float,
        length_s: float,
        noise: tuple[float, float] = (0.0, 0.0),
        clip_mg: int = 16000,
        has_plate: bool = True,
    ) -> list[Frame]:
        """Sample the sum of `sources` for `length_s`; noise is (mg rms per axis, plate rms)."""
        count = int(length_s * rate_hz)
        felt = [(0.0, 0.0, 0.0)] * count
        turn_rad = [0.0] * count
        for source in sources:
            first = max(0, math.ceil(source.begin_s * rate_hz))
            end = min(count, math.ceil((source.begin_s + source.length_s) * rate_hz)
                      if source.length_s < math.inf else count)  # fmt: skip
            for i in range(first, end):
                t = i / rate_hz - source.begin_s
                along, across, plate = source.felt(t)
                old = felt[i]
                felt[i] = (old[0] + along, old[1] + across, old[2] + plate)
                if source.turn_rad:
                    turn_rad[i] += source.turn_rad(t)
        return [
            self._frame(i, felt[i], turn_rad[i], noise, clip_mg, has_plate) for i in range(count)
        ]

    def _frame(
        self,
        i: int,
        felt: Felt,
        turn_rad: float,
        noise: tuple[float, float],
        clip_mg: int,
        has_plate: bool,
    ) -> Frame:
        up = _mix(self._up, self._side, turn_rad) if turn_rad else self._up
        axes = [
            round(
                1000.0 * up[k]
                + felt[0] * self._normal[k]
                + felt[1] * self._across[k]
                + noise[0] * _NOISE[(self._offsets[k] + i) % len(_NOISE)]
            )
            for k in range(3)
        ]
        x, y, z = (max(-clip_mg, min(clip_mg, value)) for value in axes)
        if not has_plate:
            return x, y, z, 0
        plate = round(felt[2] + noise[1] * _NOISE[(self._offsets[3] + i) % len(_NOISE)])
        return x, y, z, max(-_PLATE_LIMIT, min(_PLATE_LIMIT, plate))
