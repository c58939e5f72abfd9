"""What RFC 7946 demands of a feature collection of points and polygons, as far as a program can
tell: sections 3 (members), 3.1.1 (longitude first), 3.1.6 (rings), 4 (no crs)."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any


def faults_of(whole: dict[str, Any]) -> list[str]:
    """One line for each rule that the document breaks."""
    if whole.get("type") != "FeatureCollection" or not isinstance(whole.get("features"), list):
        return ["no feature collection"]
    found = [f"member {name}" for name in _members(whole) if name == "crs"]
    for feature in whole["features"]:
        if feature.get("type") != "Feature" or not {"geometry", "properties"} <= feature.keys():
            found.append("no feature")
        else:
            found += geometry_faults(feature["geometry"])
    return found


def geometry_faults(geometry: dict[str, Any]) -> list[str]:
    kind, coordinates = geometry.get("type"), geometry.get("coordinates")
    if kind == "Point":
        return _position_faults(coordinates)
    if kind != "Polygon":
        return [f"geometry {kind}"]
    found = []
    for number, ring in enumerate(coordinates):
        found += [fault for position in ring for fault in _position_faults(position)]
        if len(ring) < 4 or ring[0] != ring[-1]:
            found.append("a ring is not closed")
        elif (_twice_area(ring) > 0) != (number == 0):
            found.append("a ring turns the wrong way")
    return found


def _position_faults(position: Any) -> list[str]:
    if len(position) not in (2, 3) or not all(isinstance(one, float | int) for one in position):
        return ["no position"]
    inside = -180 <= position[0] <= 180 and -90 <= position[1] <= 90
    return [] if inside else ["off the globe"]


def _twice_area(ring: list[list[float]]) -> float:
    """Above 0 counter-clockwise."""
    x0, y0 = ring[0]
    moved = [(x - x0, y - y0) for x, y in ring]
    return sum(ax * by - bx * ay for (ax, ay), (bx, by) in pairwise(moved))


def _members(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        yield from value
        value = list(value.values())
    if isinstance(value, list):
        for one in value:
            yield from _members(one)
