"""The near field of a magnetic dipole: what every target sends, in SI units.

Offsets point from the dipole to the point. Azimuths run clockwise from the y axis, tilts above the
horizontal; z is up. Kernels check nothing and broadcast; `field_at` is the checked door.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from blindfield.physics.arrays import Floats

_QUARTER_OVER_PI = 0.25 / np.pi


def field_a_m(offset_m: Floats, moment_a_m2: Floats) -> Floats:
    """Field strength H (..., 3) in A/m at `offset_m` (..., 3) of a dipole `moment_a_m2` (..., 3).

    H = (3 (m.r^) r^ - m) / (4 pi r^3): any textbook of electromagnetism, from memory. Quasi-static,
    so for distances well below a wavelength over 2 pi (104 m at 457 kHz; about 0.5 % of |H| off at
    10 m), and far enough out for the coil to be a point (a 10 cm loop: -0.03 dB at 1 m, computed).
    A kernel: at an offset of zero it gives nan or inf and numpy's warning.
    """
    square_m2 = np.einsum("...i,...i->...", offset_m, offset_m)
    along = np.einsum("...i,...i->...", moment_a_m2, offset_m)
    field: Floats = offset_m * (along * (3.0 / square_m2))[..., None]
    field -= moment_a_m2
    field *= (_QUARTER_OVER_PI / (square_m2 * np.sqrt(square_m2)))[..., None]
    return field


def field_at(points_m: ArrayLike, source_m: ArrayLike, moment_a_m2: ArrayLike) -> Floats:
    """`field_a_m` at `points_m` (..., 3) of a dipole at `source_m` (..., 3), with its checks.

    Raises ValueError when an array does not hold three finite components each, when a point lies
    on the dipole, and when a moment is zero.
    """
    points, source, moment = (
        _vectors(values, name)
        for values, name in (
            (points_m, "a point"),
            (source_m, "the place of a dipole"),
            (moment_a_m2, "a moment"),
        )
    )
    if not np.any(moment, axis=-1).all():
        raise ValueError("a dipole of zero moment has no field")
    offset_m = points - source
    if not np.any(offset_m, axis=-1).all():
        raise ValueError("a point lies on the dipole, where its field has no value")
    return field_a_m(offset_m, moment)


def magnitude_a_m(field: Floats) -> Floats:
    """Length (...) of each vector of `field` (..., 3), in its unit. A kernel."""
    length: Floats = np.sqrt(np.einsum("...i,...i->...", field, field))
    return length


def flux_direction(field: Floats) -> Floats:
    """Unit vectors (..., 3) along the flux lines. A kernel: nan where the field is zero."""
    length: Floats = magnitude_a_m(field)[..., None]
    return field / length


def moment_of(strength_a_m2: ArrayLike, azimuth_deg: ArrayLike, tilt_deg: ArrayLike) -> Floats:
    """Moment (..., 3) in A m2 of an antenna that lies at this azimuth and tilt; they broadcast."""
    strength = np.asarray(strength_a_m2, dtype=float)
    azimuth, tilt = np.radians(azimuth_deg), np.radians(tilt_deg)
    flat = strength * np.cos(tilt)
    parts = np.broadcast_arrays(
        flat * np.sin(azimuth), flat * np.cos(azimuth), strength * np.sin(tilt)
    )
    return np.stack(parts, axis=-1)


def _vectors(values: ArrayLike, name: str) -> Floats:
    array = np.asarray(values, dtype=float)
    if array.shape[-1:] != (3,):
        raise ValueError(f"{name} has three components, x, y and z")
    if not np.isfinite(array).all():
        raise ValueError(f"{name} must be finite")
    return array
