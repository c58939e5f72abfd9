"""What a searcher's receiver makes of the field: strength, distance, arrow, range, strip width.

An attitude is a rotation matrix (..., 3, 3) that turns the receiver's own axes into the field's:
its columns are the directions of the antennas along, across and through the receiver. A receiver
of one antenna has the first, of two antennas the first two.
"""

from __future__ import annotations

import math

import numpy as np

from blindfield.physics.arrays import Floats
from blindfield.physics.dipole import magnitude_a_m
from blindfield.physics.emission import NOMINAL_MOMENT_A_M2

STRIP_WIDTH_FACTOR = 2.0 * 0.25 ** (1.0 / 3.0)  # 1.26; see strip_width_m
_TWO_PI = 2.0 * math.pi
_NO_DIVISION_BY_ZERO = 1e-300  # far below any field: it changes no other arrow


def attitude(azimuth_deg: Floats, pitch_deg: Floats, roll_deg: Floats) -> Floats:
    """Attitude (..., 3, 3) of a receiver that points to this azimuth; the angles broadcast.

    Held level (pitch and roll zero) its first antenna points to the azimuth, its second to the
    right of it, its third down. Pitch lifts the front, roll then lowers the right side.
    """
    azimuth, pitch, roll = np.broadcast_arrays(
        np.radians(azimuth_deg), np.radians(pitch_deg), np.radians(roll_deg)
    )
    sin_a, cos_a, sin_p, cos_p = np.sin(azimuth), np.cos(azimuth), np.sin(pitch), np.cos(pitch)
    along = np.stack([sin_a * cos_p, cos_a * cos_p, sin_p], axis=-1)
    level_across = np.stack([cos_a, -sin_a, np.zeros_like(sin_a)], axis=-1)
    below = np.cross(along, level_across)
    turn, keep = np.sin(roll)[..., None], np.cos(roll)[..., None]
    across = keep * level_across + turn * below
    through = keep * below - turn * level_across
    return np.stack([along, across, through], axis=-1)


def signal(field: Floats, attitude: Floats | None = None, antennas: int = 3) -> Floats:
    """Field strength (...) in A/m that a receiver sees of `field` (..., 3), in any attitude.

    The root of the sum of squares over its antennas. Three antennas see |H| in every attitude, so
    theirs is not read and may be None. A kernel: `antennas` 1, 2 or 3 is not checked.
    """
    if antennas == 3 or attitude is None:
        return magnitude_a_m(field)
    seen = np.einsum("...i,...ij->...j", field, attitude[..., :antennas])
    return magnitude_a_m(seen)


def displayed_distance_m(
    strength_a_m: Floats, moment_a_m2: float | Floats = NOMINAL_MOMENT_A_M2
) -> Floats:
    """Distance that a receiver displays for this field strength: (m / (2 pi H))^(1/3).

    The strength is read as though the two antennas were coaxial, and the display is best taken as a
    length along the flux line: broadside it shows 1.26 times the distance. `moment_a_m2`: what the
    receiver believes the sender's moment to be (the nominal one: ours). No signal gives inf.
    """
    with np.errstate(divide="ignore"):
        return np.cbrt(moment_a_m2 / (_TWO_PI * strength_a_m))


def arrow_deg(field: Floats) -> Floats:
    """Azimuth (...) in [0, 360) of the flux line's horizontal projection, clockwise from y.

    A keyed carrier has no sign, so the opposite azimuth means the same line; the searcher takes the
    way on which the displayed distance falls. A kernel: 0 straight over a vertical flux line.
    """
    return np.degrees(np.arctan2(field[..., 0], field[..., 1])) % 360.0


def arrow_xy(field: Floats) -> Floats:
    """The same arrow as horizontal unit vectors (..., 2); zero on a vertical flux line."""
    level = field[..., :2]
    length: Floats = magnitude_a_m(level)[..., None]
    return level / (length + _NO_DIVISION_BY_ZERO)


def coupling(source_axis: Floats, receiver_axis: Floats, direction: Floats) -> Floats:
    """How well one antenna hears another (...), 1 when coaxial, by unit vectors (..., 3).

    |3 (s.d)(r.d) - s.r| / 2, with `direction` from the sender to the receiver: the dipole formula
    along the receiver's antenna, as a share of the coaxial case. Parallel side by side: 1/2.
    """
    sent = np.einsum("...i,...i->...", source_axis, direction)
    heard = np.einsum("...i,...i->...", receiver_axis, direction)
    straight = np.einsum("...i,...i->...", source_axis, receiver_axis)
    share: Floats = np.abs(3.0 * sent * heard - straight) / 2.0
    return share


def range_m(coaxial_range_m: float | Floats, coupling: float | Floats) -> Floats:
    """Range (...) in metres at this coupling: R = R_coaxial coupling^(1/3), since H goes with r^-3.

    The Swiss Alpine Club's journal gives about 80 % for parallel antennas, 2 % lost 20 degrees off
    parallel and about 45 % 5 degrees off perpendicular (seen in the source); the formula gives
    0.794, 0.979 and 0.443, the last two against the best attitude at the same place.
    """
    return np.asarray(coaxial_range_m * np.cbrt(coupling))


def threshold_a_m(
    coaxial_range_m: float | Floats, moment_a_m2: float | Floats = NOMINAL_MOMENT_A_M2
) -> Floats:
    """Weakest field (...) in A/m that a receiver of this coaxial range hears: m / (2 pi R^3)."""
    return np.asarray(moment_a_m2 / (_TWO_PI * np.asarray(coaxial_range_m, dtype=float) ** 3))


def strip_width_m(r_max_m: float, sigma_m: float) -> float:
    """Search strip width in metres: w = 1.26 (r_max - 2 sigma).

    `r_max_m`, `sigma_m`: mean and spread of the maximum coaxial range. Schreilechner, Eck and
    Schober, ISSW 2009 (seen in the source). 1.26 = 2 (1/4)^(1/3), derived: at the strip's edge a
    quarter of the coaxial coupling is still heard. r_max 40 m, sigma 4 m: 40.3 m. Raises ValueError
    when a value is no range or no width is left.
    """
    if not (math.isfinite(r_max_m) and math.isfinite(sigma_m) and r_max_m > 0 and sigma_m >= 0):
        raise ValueError("a search strip needs a range above zero and a spread of zero or more")
    width_m = STRIP_WIDTH_FACTOR * (r_max_m - 2.0 * sigma_m)
    if width_m <= 0:
        raise ValueError(
            f"a range of {r_max_m:g} m with a spread of {sigma_m:g} m leaves no search strip"
        )
    return width_m
