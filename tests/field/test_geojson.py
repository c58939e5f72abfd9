"""The field on the globe: worked geodesy, and GeoJSON by its rules."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import pytest

from blindfield.field.as_built import AsBuilt, as_built
from blindfield.field.geojson import blind_geojson, full_geojson
from blindfield.field.globe import longitude_latitude_deg
from blindfield.model.errors import ConfigError
from blindfield.model.events import Event
from blindfield.model.field import Field, Georeference, KeepOut, Target
from support.geojson_rules import faults_of, geometry_faults
from support.scenarios import small_field

OCEAN = Georeference(45.0, -30.0, 0.0)
THERE_DEG = (-29.9995, 45.00035)
CENTIMETRE_M = 0.01
DEGREE_M = 111_200.0  # of latitude, near enough to judge a centimetre
AREA = ((5.0, 0.0), (45.0, 5.0), (50.0, 40.0), (20.0, 25.0), (0.0, 30.0))


def placed(area_m: tuple[tuple[float, float], ...] = AREA, at: Georeference = OCEAN) -> Field:
    pond = KeepOut("pond", ((20.0, 5.0), (20.0, 10.0), (30.0, 10.0), (30.0, 5.0)))
    return replace(small_field(3), area_m=area_m, keep_outs=(pond,), georeference=at)


def read(text: str) -> dict[str, Any]:
    whole: dict[str, Any] = json.loads(text)
    return whole


def of_kind(whole: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    return [one for one in whole["features"] if one["properties"]["kind"] == kind]


def apart_m(one: tuple[float, float], other: tuple[float, float]) -> float:
    across = math.cos(math.radians(one[1])) * (one[0] - other[0])
    return math.hypot(across, one[1] - other[1]) * DEGREE_M


def test_a_step_of_the_worked_example_at_1500_m_ends_where_it_says() -> None:
    """ECEF to ENU of pyproj 3.7.2, turned about: up and height as given there."""
    found = longitude_latitude_deg(OCEAN, (39.43244582, 38.90542015), 1.99975951, 1500.0)
    assert apart_m(found, THERE_DEG) < CENTIMETRE_M / 10


def test_the_worked_geodesic_along_the_y_axis_ends_there_too() -> None:
    """Length and azimuth on the ellipsoid, another way to the same point (pyproj 3.7.2)."""
    found = longitude_latitude_deg(replace(OCEAN, y_bearing_deg=45.385480), (0.0, 55.381448))
    assert apart_m(found, THERE_DEG) < CENTIMETRE_M


def test_at_the_equator_a_metre_is_a_metre_of_the_published_radius() -> None:
    at = Georeference(0.0, 0.0, 90.0)
    longitude, latitude = longitude_latitude_deg(at, (0.0, 100.0))
    assert math.radians(longitude) * 6_378_137.0 == pytest.approx(100.0, abs=1e-6)
    assert latitude == pytest.approx(0.0, abs=1e-12)


def test_the_x_axis_lies_to_the_right_of_the_y_axis() -> None:
    longitude, latitude = longitude_latitude_deg(replace(OCEAN, y_bearing_deg=90.0), (10.0, 0.0))
    assert longitude == pytest.approx(-30.0, abs=1e-9)
    assert latitude < 45.0


@pytest.mark.parametrize("area_m", [(), AREA, AREA[::-1]], ids=["square", "left", "right"])
def test_a_field_turned_any_way_keeps_the_rules(area_m: tuple[tuple[float, float], ...]) -> None:
    for bearing_deg in (0.0, 137.0, 301.0):
        place = placed(area_m, replace(OCEAN, y_bearing_deg=bearing_deg))
        for text in (blind_geojson(place), full_geojson(as_built(place, []))):
            assert faults_of(read(text)) == []


def test_longitude_comes_first_and_the_first_peg_lies_where_the_file_says() -> None:
    pegs = of_kind(read(blind_geojson(placed(()))), "peg")
    assert [peg["properties"]["name"] for peg in pegs] == ["A", "B", "C", "D"]
    assert pegs[0]["geometry"]["coordinates"] == [-30.0, 45.0]
    degrees = [tuple(peg["geometry"]["coordinates"]) for peg in pegs]
    assert apart_m(degrees[0], degrees[3]) == pytest.approx(50.0, abs=0.1)


def test_a_degree_has_decimals_enough_for_a_centimetre() -> None:
    place = placed(AREA, replace(OCEAN, y_bearing_deg=33.0))
    for one in of_kind(read(blind_geojson(place)), "peg"):
        name, found = one["properties"]["name"], one["geometry"]["coordinates"]
        at_m = (0.0, 0.0) if name == "O" else AREA["ABCDE".index(name)]
        true = longitude_latitude_deg(place.georeference, at_m)  # type: ignore[arg-type]
        assert apart_m((found[0], found[1]), true) < CENTIMETRE_M / 5


def test_targets_are_as_they_lie_now_and_in_the_full_file_alone() -> None:
    built = with_a_depth(replace(placed(), targets=(target(azimuth_deg=350.0),)))
    [one] = of_kind(read(full_geojson(built)), "target")
    told = one["properties"]
    assert (told["name"], told["depth_m"], told["depth_from"]) == ("9", 1.23, "probed")
    assert told["depth_utc"].startswith("2026-02-03")
    assert told["state"] == "in place"
    assert told["antenna_bearing_deg"] == 350.0
    assert not of_kind(read(blind_geojson(built.field)), "target")


def test_the_blind_file_is_the_same_whatever_lies_in_the_field() -> None:
    place = placed()
    blind = blind_geojson(place)
    for targets in ((), place.targets[:1], (target(azimuth_deg=10.0),)):
        assert blind_geojson(replace(place, targets=targets)) == blind
    assert blind_geojson(replace(place, start_points=place.start_points[:1])) != blind


def test_without_a_georeference_it_says_what_to_write() -> None:
    with pytest.raises(ConfigError, match="latitude_deg, longitude_deg and y_bearing_deg"):
        blind_geojson(small_field(1))


def test_the_180th_meridian_is_refused_across_and_not_beside() -> None:
    with pytest.raises(ConfigError, match="180th meridian"):
        blind_geojson(placed(AREA, Georeference(45.0, 179.9998, 0.0)))
    assert faults_of(read(blind_geojson(placed(AREA, Georeference(45.0, -180.0, 0.0))))) == []


def with_a_depth(place: Field) -> AsBuilt:
    probed = Event(
        kind="depth",
        source="person",
        host_epoch=bytes(8),
        utc="2026-02-03T09:00:00.000000Z",
        data={"device": "9", "depth_m": 1.23, "means": "probed"},
    )
    return as_built(place, [probed])


def target(*, azimuth_deg: float) -> Target:
    return Target("9", bytes(8), 12.0, 12.0, 0.9, azimuth_deg, 0.0)


# Appendix A.3 of RFC 7946: a polygon with a hole.
PUBLISHED = {
    "type": "Polygon",
    "coordinates": [
        [[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]],
        [[100.8, 0.8], [100.8, 0.2], [100.2, 0.2], [100.2, 0.8], [100.8, 0.8]],
    ],
}


def test_the_rules_let_the_published_polygon_pass() -> None:
    assert geometry_faults(PUBLISHED) == []


@pytest.mark.parametrize(
    "broken",
    [
        {**PUBLISHED, "coordinates": [PUBLISHED["coordinates"][0][::-1]]},
        {**PUBLISHED, "coordinates": [PUBLISHED["coordinates"][0][:-1]]},
        {**PUBLISHED, "coordinates": [PUBLISHED["coordinates"][0]] * 2},
        {"type": "Point", "coordinates": [0.0, 100.0]},  # latitude first
        {"type": "Point", "coordinates": ["1", "2"]},
        {"type": "Circle", "coordinates": [0.0, 0.0]},
    ],
)
def test_the_rules_find_what_breaks_them(broken: dict[str, Any]) -> None:
    assert len(geometry_faults(broken)) == 1
    assert faults_of({"type": "FeatureCollection", "features": [], "crs": {}}) == ["member crs"]
