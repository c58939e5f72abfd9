"""The field as GeoJSON (RFC 7946), for maps on the globe.

Longitude before latitude on WGS 84, outer rings counter-clockwise (its section 3.1.6), no `crs`
member. Degrees have eight decimals, about a millimetre; the place is as good as the first peg's.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from blindfield.field.as_built import AsBuilt, BuiltTarget
from blindfield.field.globe import longitude_latitude_deg
from blindfield.field.pegs import pegs_of
from blindfield.model.errors import ConfigError
from blindfield.model.field import Field, Georeference, Point

MADE_BY = "blindfield, a field on the globe"
DECIMALS = 8
HALF_TURN_DEG = 180.0

Feature = dict[str, Any]


def georeference_of(place: Field) -> Georeference:
    """Raises ConfigError, with what to write into the field's file, where there is none."""
    if place.georeference is None:
        raise ConfigError(
            "this field's place on the globe is not known, and GeoJSON needs it.",
            remedy="Write latitude_deg, longitude_deg and y_bearing_deg under [field] in its file: "
            "of the first peg (WGS 84), and where the y axis points, clockwise from true north.",
        )
    return place.georeference


def blind_geojson(place: Field) -> str:
    """The ground, pegs, start points and what is kept out: nothing of targets.

    Raises ConfigError without a georeference, or where the field lies across the 180th meridian.
    """
    return _text(place, "for whoever searches", _ground(place, georeference_of(place)))


def full_geojson(built: AsBuilt) -> str:
    """The same and every target as it lies now: for whoever digs. Raises the same."""
    at = georeference_of(built.field)
    targets = [_target(at, one) for one in built.targets]
    return _text(built.field, "for whoever digs", [*_ground(built.field, at), *targets])


def _ground(place: Field, at: Georeference) -> list[Feature]:
    found = [_polygon(at, place.outline_m, kind="ground", name=place.name)]
    found += [
        _polygon(at, out.corners_m, kind="kept out", name=out.name) for out in place.keep_outs
    ]
    found += [_point(at, peg_m, kind="peg", name=name) for name, peg_m in pegs_of(place).items()]
    found += [
        _point(at, (start.x_m, start.y_m), kind="start", name=start.name)
        for start in place.start_points
    ]
    return found


def _target(at: Georeference, one: BuiltTarget) -> Feature:
    target = one.target
    azimuth = target.antenna_azimuth_deg
    bearing = None if azimuth is None else round((azimuth + at.y_bearing_deg) % 360.0, 1)
    return _point(
        at,
        (target.x_m, target.y_m),
        kind="target",
        name=target.name,
        x_m=round(target.x_m, 2),
        y_m=round(target.y_m, 2),
        depth_m=round(target.depth_m, 2) if one.depth_known else None,
        depth_from=one.depth_said.source,
        depth_utc=one.depth_said.utc or None,
        state=target.state.value,
        antenna_bearing_deg=bearing,
        antenna_tilt_deg=target.antenna_tilt_deg,
        place_measured=one.place_measured,
    )


def _point(at: Georeference, place_m: Point, **properties: Any) -> Feature:
    return _feature("Point", _degrees(at, place_m), properties)


def _polygon(at: Georeference, corners_m: Sequence[Point], **properties: Any) -> Feature:
    ring = [_degrees(at, corner) for corner in corners_m]
    longitudes = [longitude for longitude, _ in ring]
    if max(longitudes) - min(longitudes) > HALF_TURN_DEG:
        raise ConfigError(
            "this field lies across the 180th meridian: such a GeoJSON file is not written.",
            remedy="Take the map as SVG or PDF.",
        )
    if _turns_clockwise(ring):
        ring.reverse()
    return _feature("Polygon", [[*ring, ring[0]]], properties)


def _turns_clockwise(ring: Sequence[Sequence[float]]) -> bool:
    """The shoelace formula from the first corner: the plain one loses small grounds in rounding."""
    x0, y0 = ring[0]
    edges = zip(ring, [*ring[1:], ring[0]], strict=True)
    return sum((ax - x0) * (by - y0) - (bx - x0) * (ay - y0) for (ax, ay), (bx, by) in edges) < 0


def _degrees(at: Georeference, place_m: Point) -> list[float]:
    return [round(value, DECIMALS) for value in longitude_latitude_deg(at, place_m)]


def _feature(kind: str, coordinates: Any, properties: Feature) -> Feature:
    geometry = {"type": kind, "coordinates": coordinates}
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def _text(place: Field, purpose: str, features: list[Feature]) -> str:
    whole = {
        "type": "FeatureCollection",
        "made_by": MADE_BY,
        "title": f"{place.name}, {purpose}",
        "features": features,
    }
    return json.dumps(whole, indent=1, ensure_ascii=False) + "\n"
