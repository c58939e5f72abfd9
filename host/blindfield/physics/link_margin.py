"""What is left of a 2.4 GHz link to a buried device, in dB: a band from low to high.

One straight ray from the device up through level, even snow, bent at the surface, on to the
reader's antenna. The low end takes every assumption at its worst, the high end at its best; both
ends carry the assumptions as values. It is an estimate for planning, no promise: ice layers, water
that has pooled, an antenna lying in its own shadow are not in it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Literal

import numpy as np

from blindfield.physics.arrays import Floats
from blindfield.physics.snow import LIGHT_M_S, RADIO_HZ, ModelLoss, SnowLoss, snow_loss

Verdict = Literal["holds", "unsure", "fails"]

FLATTEST_DEG = 5.0  # below this a level surface is named as doubtful; common practice, no source
SCAN_STEPS = 2000
BISECTIONS = 60  # halves any interval below double precision


@dataclass(frozen=True)
class Band:
    """From `low` to `high`; ValueError when they stand the other way round."""

    low: float
    high: float

    def __post_init__(self) -> None:
        if not self.low <= self.high:
            raise ValueError(f"a band from {self.low} to {self.high} has no inside")


@dataclass(frozen=True)
class Radio:
    """What is assumed about the two ends of the link. All defaults are from memory or common
    practice, none is of a named board: give the figures of your own.

    `transmit_dbm`: into the antenna, of the weaker direction. `sensitivity_dbm`: weakest signal
    that is still read; small radios are given with -90 to -97 dBm at 1 Mbit/s, and a cold, noisy
    field takes some of it. `device_antenna_db`: gain of the buried antenna in its case, detuned by
    snow and battery, in an unlucky direction at worst. `reader_antenna_db`: the same for the laptop
    or phone. `fading_db`: loss by bodies, packs, the second path over the surface.
    """

    transmit_dbm: float = 4.0
    sensitivity_dbm: float = -90.0
    device_antenna_db: Band = Band(-10.0, 0.0)
    reader_antenna_db: Band = Band(-5.0, 2.0)
    fading_db: Band = Band(0.0, 10.0)
    reader_height_m: float = 1.0
    frequency_hz: float = RADIO_HZ

    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            ends = (value.low, value.high) if isinstance(value, Band) else (value,)
            if not all(math.isfinite(end) for end in ends):
                raise ValueError(f"{item.name} is not a number: {value}")
        if not (self.reader_height_m > 0 and self.frequency_hz > 0):
            raise ValueError("the reader's antenna is above the snow and its frequency positive")


@dataclass(frozen=True)
class Margin:
    """The margin in dB, low and high, in the common shape of depth and distance.

    `snow_db`: what the snow along the bent path takes, `surface_db`: reflection and spreading at
    the surface, `free_space_db`: the straight distance without snow; the first two as (low loss,
    high loss). `snow`, `radio`: everything that was assumed. `said`: plain sentences to show.
    """

    low_db: Floats
    high_db: Floats
    free_space_db: Floats
    surface_db: tuple[Floats, Floats]
    snow_db: tuple[Floats, Floats]
    snow: SnowLoss
    radio: Radio
    said: tuple[str, ...]

    @property
    def verdict(self) -> Verdict:
        """holds: even the low end is left everywhere; fails: not even the high end anywhere."""
        if np.min(self.low_db) >= 0:
            return "holds"
        return "fails" if np.max(self.high_db) < 0 else "unsure"


@dataclass(frozen=True)
class Ray:
    """The bent path: metres in snow and air, cosines of its angles to the vertical."""

    snow_m: Floats
    air_m: Floats
    cos_snow: Floats
    cos_air: Floats


def free_space_db(distance_m: Floats | float, frequency_hz: float = RADIO_HZ) -> Floats:
    """Loss between isotropic antennas: 20 lg(4 pi d f / c), far from the antenna (d > wavelength).

    Friis 1946, any textbook, from memory. 50 m at 2.44 GHz: 74.175 dB. ValueError unless d > 0.
    """
    distance = np.asarray(distance_m, dtype=np.float64)
    if not np.all(distance > 0):
        raise ValueError("free space loss needs a distance above zero")
    return np.asarray(20 * np.log10(4 * math.pi * distance * frequency_hz / LIGHT_M_S))


def margin(
    depth_m: Floats | float,
    horizontal_m: Floats | float,
    *,
    density_kg_m3: float,
    wetness_percent: float,
    radio: Radio | None = None,
) -> Margin:
    """Margin of a device `depth_m` under the surface to a reader `horizontal_m` away.

    margin = transmitted + both antennas - fading - free space - surface - snow - sensitivity.
    Depth and distance broadcast against each other. Raises ValueError for a negative depth or
    distance and for snow that cannot exist (`snow_loss`).
    """
    radio = radio or Radio()
    depth, horizontal = _checked(depth_m, horizontal_m)
    snow = snow_loss(density_kg_m3, wetness_percent, radio.frequency_hz)
    straight = free_space_db(
        np.hypot(horizontal, depth + radio.reader_height_m), radio.frequency_hz
    )
    losses = [_losses(depth, horizontal, model, radio) for model in snow.models]
    least, most = np.min(losses, axis=0), np.max(losses, axis=0)  # snow, kind and harsh surface
    path_db = [[inside + kind, inside + harsh] for inside, kind, harsh in losses]
    ends = _ends_db(radio)
    return Margin(
        low_db=np.asarray(ends.low - straight - np.max(path_db, axis=(0, 1))),
        high_db=np.asarray(ends.high - straight - np.min(path_db, axis=(0, 1))),
        free_space_db=straight,
        surface_db=(np.asarray(least[1]), np.asarray(most[2])),
        snow_db=(np.asarray(least[0]), np.asarray(most[0])),
        snow=snow,
        radio=radio,
        said=(*snow.said, *_said(horizontal, depth, radio)),
    )


def depth_used_up_m(
    horizontal_m: float,
    *,
    density_kg_m3: float,
    wetness_percent: float,
    radio: Radio | None = None,
    deepest_m: float = 5.0,
) -> Band:
    """The depth at which the margin is first used up: `low` by the low margin, `high` by the high.

    0 when there is none at the surface already; infinity when some is left at `deepest_m`.
    """
    burial = {"density_kg_m3": density_kg_m3, "wetness_percent": wetness_percent}
    return _used_up(lambda depth_m: margin(depth_m, horizontal_m, radio=radio, **burial), deepest_m)


def distance_used_up_m(
    depth_m: float,
    *,
    density_kg_m3: float,
    wetness_percent: float,
    radio: Radio | None = None,
    farthest_m: float = 200.0,
) -> Band:
    """The horizontal distance at which the margin is first used up, as `depth_used_up_m`."""
    burial = {"density_kg_m3": density_kg_m3, "wetness_percent": wetness_percent}
    return _used_up(
        lambda horizontal_m: margin(depth_m, horizontal_m, radio=radio, **burial), farthest_m
    )


def bent_ray(
    depth_m: Floats, horizontal_m: Floats, height_m: float, refractive_index: float
) -> Ray:
    """The path by Snell's law, sin(air) = n sin(snow), found by halving. The surface is level."""
    low, high = np.zeros_like(horizontal_m), horizontal_m.copy()
    for _ in range(BISECTIONS):
        in_air = (low + high) / 2
        sin_air = in_air / np.hypot(in_air, height_m)
        in_snow = horizontal_m - in_air
        slant = np.hypot(in_snow, depth_m)
        too_far = sin_air * slant > refractive_index * in_snow
        low, high = np.where(too_far, low, in_air), np.where(too_far, in_air, high)
    air_m = np.hypot(low, height_m)
    cos_air = height_m / air_m
    cos_snow = np.sqrt(1 - (low / air_m / refractive_index) ** 2)
    return Ray(depth_m / cos_snow, air_m, cos_snow, cos_air)


def surface_loss_db(
    depth_m: Floats, height_m: float, refractive_index: float, ray: Ray
) -> tuple[Floats, Floats]:
    """Loss at the surface over free space along the straight line, kinder and harsher polarisation.

    Reflection: Fresnel's power reflection for both polarisations, loss in the snow neglected.
    Spreading: the bundle of rays by geometrical optics; straight up, h above a depth d, its
    area is that of a distance d + n h. Any textbook, from memory; the bundle derived. Holds where
    both antennas are some wavelengths away from a level surface; in flat rays the loss falls by
    6 dB for twice the reader's height, until the snow's own waves and drifts decide.
    """
    n, air, snow = refractive_index, ray.cos_air, ray.cos_snow
    reflected = np.stack([(n * snow - air) / (n * snow + air), (n * air - snow) / (n * air + snow)])
    passed_db = -10 * np.log10(1 - reflected**2)
    across = depth_m / snow + n * height_m / air
    along = air * (depth_m / snow**2 + n * height_m * snow / air**3)
    straight = (ray.snow_m * np.sqrt(1 - snow**2) + ray.air_m * np.sqrt(1 - air**2)) ** 2 + (
        depth_m + height_m
    ) ** 2
    spread_db = 10 * np.log10(across * along / straight)
    return spread_db + passed_db.min(axis=0), spread_db + passed_db.max(axis=0)


def _checked(depth_m: Floats | float, horizontal_m: Floats | float) -> tuple[Floats, Floats]:
    depth, horizontal = np.broadcast_arrays(
        np.asarray(depth_m, dtype=np.float64), np.asarray(horizontal_m, dtype=np.float64)
    )
    for name, values in (("depth", depth), ("distance", horizontal)):
        if not np.all(np.isfinite(values) & (values >= 0)):
            raise ValueError(f"a {name} is not negative: it is measured from the snow surface")
    return depth, horizontal


def _ends_db(radio: Radio) -> Band:
    """All that does not depend on where the device lies: the loss that the link can bear."""
    between = radio.transmit_dbm - radio.sensitivity_dbm
    return Band(
        between + radio.device_antenna_db.low + radio.reader_antenna_db.low - radio.fading_db.high,
        between + radio.device_antenna_db.high + radio.reader_antenna_db.high - radio.fading_db.low,
    )


def _losses(depth: Floats, horizontal: Floats, model: ModelLoss, radio: Radio) -> list[Floats]:
    """Loss in the snow, at the surface in the kinder and in the harsher polarisation."""
    index = model.refractive_index
    ray = bent_ray(depth, horizontal, radio.reader_height_m, index)
    return [
        model.loss_db_m * ray.snow_m,
        *surface_loss_db(depth, radio.reader_height_m, index, ray),
    ]


def _used_up(at: Callable[[Floats], Margin], most_m: float) -> Band:
    if not (math.isfinite(most_m) and most_m > 0):
        raise ValueError(f"looking up to {most_m} m is not possible")
    places = np.linspace(0.0, most_m, SCAN_STEPS + 1)
    found = at(places)
    return Band(_first_zero(places, found.low_db), _first_zero(places, found.high_db))


def _first_zero(places: Floats, margin_db: Floats) -> float:
    below = margin_db < 0
    if not below.any():
        return math.inf
    index = int(below.argmax())
    if index == 0:
        return 0.0
    before, after = margin_db[index - 1], margin_db[index]
    share = before / (before - after)
    return float(places[index - 1] + share * (places[index] - places[index - 1]))


def _said(horizontal: Floats, depth: Floats, radio: Radio) -> tuple[str, ...]:
    said = []
    flattest = float(np.degrees(np.arctan2(radio.reader_height_m, horizontal.max(initial=0.0))))
    if flattest < FLATTEST_DEG:
        said.append(
            f"The path leaves the snow at about {flattest:.1f} degrees above the surface; below "
            f"{FLATTEST_DEG:g} degrees the shape of the snow decides what the surface takes."
        )
    wave_m = LIGHT_M_S / radio.frequency_hz
    if depth.size and float(depth.min()) < wave_m:
        said.append(
            f"A device less than one wavelength ({wave_m:.2f} m) deep is half in the air: "
            f"the model for buried ones is computed all the same."
        )
    return tuple(said)
