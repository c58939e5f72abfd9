"""How targets lie to each other and to a start point, as this searcher's receiver hears them."""

from __future__ import annotations

import math
from collections.abc import Sequence

from blindfield.drills.drill import Drill
from blindfield.model.field import Point, StartPoint, Target
from blindfield.physics.receiver import range_m

DEFAULT_RANGE_M = 40.0  # 40 m and 20 m are both taught; REFERENCES 3, strip width's worked value
CLOSE_M = 10.0  # nearer than this two targets are a close pair, a problem of its own; ours
LEAST_COUPLING, FULL_COUPLING = 0.5, 1.0


def coupling_at(target: Target, x_m: float, y_m: float) -> tuple[float, float]:
    """The least and the most share of the coaxial field that is heard of `target` above (x, y).

    |H| at the angle t from the antenna over |H| on its axis at the same distance:
    sqrt(1 + 3 cos^2 t) / 2 (the dipole's field), heard by three antennas or by one held in its
    best attitude. Where nobody noted how the antenna lies: anything from 1/2 to 1.
    """
    if target.antenna_azimuth_deg is None or target.antenna_tilt_deg is None:
        return LEAST_COUPLING, FULL_COUPLING
    azimuth, tilt = map(math.radians, (target.antenna_azimuth_deg, target.antenna_tilt_deg))
    level = math.cos(tilt)
    axis = (math.sin(azimuth) * level, math.cos(azimuth) * level, math.sin(tilt))
    to = (x_m - target.x_m, y_m - target.y_m, target.depth_m)
    length_m = math.hypot(*to) or 1.0
    cosine = sum(a * b for a, b in zip(axis, to, strict=True)) / length_m
    share = math.sqrt(1.0 + 3.0 * cosine * cosine) / 2.0
    return share, share


def heard(target: Target, x_m: float, y_m: float, coaxial_range_m: float) -> bool | None:
    """Whether `target` is heard at the snow surface at (x, y); None when that depends on how its
    antenna lies, which nobody noted."""
    away_m = math.hypot(x_m - target.x_m, y_m - target.y_m, target.depth_m)
    least, most = (
        float(range_m(coaxial_range_m, share)) for share in coupling_at(target, x_m, y_m)
    )
    if away_m <= least:
        return True
    return False if away_m > most else None


def apart_m(one: Target, other: Target) -> float:
    """Level distance of two targets."""
    return math.dist((one.x_m, one.y_m), (other.x_m, other.y_m))


def lie_so(drill: Drill, one: Target, other: Target, coaxial_range_m: float) -> bool:
    """Whether two targets lie as the drill wants each two of those that send."""
    if drill.distance == "close":
        return apart_m(one, other) <= drill.close_m
    from_other = heard(one, other.x_m, other.y_m, coaxial_range_m)
    from_one = heard(other, one.x_m, one.y_m, coaxial_range_m)
    if drill.distance == "within range":
        return from_other is True and from_one is True and apart_m(one, other) > CLOSE_M
    if drill.distance == "out of range":
        return from_other is False and from_one is False
    return True


def order_into_range(
    targets: Sequence[Target], start: StartPoint, coaxial_range_m: float
) -> tuple[str, ...]:
    """Names in the order in which their signals come into range on straight ways from the start.

    Each is heard from its own range on (see `coupling_at`, in the middle of what is possible), so
    the order is that of the metres to walk until then; equal ones by name.
    """

    def walked_m(target: Target) -> float:
        least, most = coupling_at(target, start.x_m, start.y_m)
        reach_m = float(range_m(coaxial_range_m, (least + most) / 2.0))
        away_m = math.dist((start.x_m, start.y_m), (target.x_m, target.y_m))
        return round(max(0.0, away_m - reach_m), 3) or away_m * 1e-6

    return tuple(t.name for t in sorted(targets, key=lambda t: (walked_m(t), t.name)))


LEAST_WAY_M = 5.0
STEP_DEG = 30
TO_SPARE_DEG = 10.0  # nobody is sent along the edge


def ways_in(start: StartPoint, outline_m: Sequence[Point]) -> tuple[float, ...]:
    """Directions from a start, clockwise from the y axis, in which there is ground ahead."""
    return tuple(
        float(way_deg)
        for way_deg in range(0, 360, STEP_DEG)
        if any(
            all(
                inside(_ahead(start, way_deg + aside, m), outline_m)
                for aside in (-TO_SPARE_DEG, TO_SPARE_DEG)
            )
            for m in (LEAST_WAY_M, 2 * LEAST_WAY_M)
        )
    )


def _ahead(start: StartPoint, way_deg: float, metres: float) -> Point:
    way = math.radians(way_deg)
    return start.x_m + metres * math.sin(way), start.y_m + metres * math.cos(way)


def inside(place: Point, outline_m: Sequence[Point]) -> bool:
    """Whether a place lies inside a simple polygon (even-odd rule)."""
    x_m, y_m = place
    odd = False
    for (x1, y1), (x2, y2) in zip(outline_m, (*outline_m[1:], outline_m[0]), strict=True):
        if (y1 > y_m) != (y2 > y_m) and x_m < x1 + (y_m - y1) / (y2 - y1) * (x2 - x1):
            odd = not odd
    return odd
