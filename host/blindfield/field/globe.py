"""From the field's metres to longitude and latitude on WGS 84.

The field is taken as a plane that touches the ellipsoid at the first peg (east, north, up): a step
on it is turned into earth-centred coordinates, and those into latitude and longitude by Bowring's
formula. Valid for any field: over 700 m the plane leaves the ellipsoid by 4 cm, and only upward.
The field's own height above the ellipsoid is not known: at 2000 m places come out 0.03 % too far
apart, 2 cm over the diagonal of the default field.
"""

from __future__ import annotations

import math

from blindfield.model.field import Georeference, Point

# WGS 84, the two that define its ellipsoid (NIMA TR8350.2).
SEMI_MAJOR_M = 6_378_137.0
FLATTENING = 1.0 / 298.257_223_563
_SEMI_MINOR_M = SEMI_MAJOR_M * (1.0 - FLATTENING)
_E2 = FLATTENING * (2.0 - FLATTENING)  # first eccentricity squared
_E2_SECOND = _E2 / (1.0 - _E2)

Vector = tuple[float, float, float]


def east_north_m(at: Georeference, point_m: Point) -> Point:
    """The place (x, y) of the field as metres east and north of its first peg."""
    turn = math.radians(at.y_bearing_deg)
    x_m, y_m = point_m
    east_m = x_m * math.cos(turn) + y_m * math.sin(turn)
    return east_m, y_m * math.cos(turn) - x_m * math.sin(turn)


def longitude_latitude_deg(at: Georeference, point_m: Point, up_m: float = 0.0,
                           height_m: float = 0.0) -> Point:  # fmt: skip
    """(longitude, latitude) of the place (x, y) of the field, degrees, longitude -180 to 180.

    `up_m`: over the plane; `height_m`: of the first peg above the ellipsoid.
    """
    lon, lat = math.radians(at.longitude_deg), math.radians(at.latitude_deg)
    origin = _earth_centred_m(lon, lat, height_m)
    east_m, north_m = east_north_m(at, point_m)
    away_m = north_m * -math.sin(lat) + up_m * math.cos(lat)  # from the axis, in the meridian
    step = (
        away_m * math.cos(lon) - east_m * math.sin(lon),
        away_m * math.sin(lon) + east_m * math.cos(lon),
        north_m * math.cos(lat) + up_m * math.sin(lat),
    )
    return _on_globe_deg((origin[0] + step[0], origin[1] + step[1], origin[2] + step[2]))


def _earth_centred_m(lon: float, lat: float, height_m: float) -> Vector:
    across_m = SEMI_MAJOR_M / math.sqrt(1.0 - _E2 * math.sin(lat) ** 2)
    out_m = (across_m + height_m) * math.cos(lat)
    return (
        out_m * math.cos(lon),
        out_m * math.sin(lon),
        (across_m * (1.0 - _E2) + height_m) * math.sin(lat),
    )


def _on_globe_deg(place_m: Vector) -> Point:
    """Bowring 1976, one step: below 1e-9 degrees off for any height a field can have."""
    x_m, y_m, z_m = place_m
    out_m = math.hypot(x_m, y_m)
    reduced = math.atan2(z_m * SEMI_MAJOR_M, out_m * _SEMI_MINOR_M)
    lat = math.atan2(
        z_m + _E2_SECOND * _SEMI_MINOR_M * math.sin(reduced) ** 3,
        out_m - _E2 * SEMI_MAJOR_M * math.cos(reduced) ** 3,
    )
    return math.degrees(math.atan2(y_m, x_m)), math.degrees(lat)
