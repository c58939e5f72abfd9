"""Where a probe goes and what it meets: spirals, grids of a probe line, outlines seen from above.

All of it is plan view: a stroke hits when it falls inside the outline, whatever the depth. Lengths
in metres, x and y along the field's axes, azimuths in degrees clockwise from the y axis.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from blindfield.physics.arrays import Bools, Floats, Ints

Shape = Literal["ellipse", "rectangle"]
SPIRAL_STEP_M = 0.25  # spiral probing in 25 cm steps, as quoted in teaching material
LARGEST_RINGS = 1000
TURNS, PHASES = 90, 48  # midpoints of the averages over half a turn and over the grid's phase


def _positive(**lengths_m: float) -> None:
    for name, value in lengths_m.items():
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"a length that probing needs is not positive: {name} = {value}")


@dataclass(frozen=True)
class Outline:
    """What lies buried, seen from above: `length_m` along its own axis, `width_m` across.

    Raises ValueError for sizes that are not positive.
    """

    shape: Shape
    length_m: float
    width_m: float

    def __post_init__(self) -> None:
        _positive(length_m=self.length_m, width_m=self.width_m)
        if self.shape not in ("ellipse", "rectangle"):
            raise ValueError(f"an outline is an ellipse or a rectangle, not {self.shape!r}")

    @property
    def area_m2(self) -> float:
        full = self.length_m * self.width_m
        return full * math.pi / 4 if self.shape == "ellipse" else full

    @property
    def reach_m(self) -> float:
        """The farthest point of the outline from its middle."""
        if self.shape == "ellipse":
            return max(self.length_m, self.width_m) / 2
        return math.hypot(self.length_m, self.width_m) / 2


@dataclass(frozen=True)
class Posture:
    """One way in which a body lies, and the share of all burials that lie so."""

    outline: Outline
    share: float


# A person as two plain outlines. Sizes: a grown person's height and shoulders, shoulders and chest,
# from memory. The share of the upright is no measurement: it is what brings a grid of 50 x 50 cm to
# the published 88 %, and 75 x 70 cm then comes out at 77 % against the published 76 %.
LYING = Outline("rectangle", 1.70, 0.45)
UPRIGHT = Outline("rectangle", 0.45, 0.25)
PERSON = (Posture(LYING, 0.79), Posture(UPRIGHT, 0.21))


def inside(offset_m: Floats, outline: Outline, azimuth_deg: Floats | float) -> Bools:
    """Whether points at `offset_m` (..., 2) from the middle lie in the outline (edge included).

    `azimuth_deg` (...) is where its length points; it broadcasts against the points.
    """
    angle = np.radians(azimuth_deg)
    east, north = offset_m[..., 0], offset_m[..., 1]
    along = (east * np.sin(angle) + north * np.cos(angle)) / (outline.length_m / 2)
    across = (east * np.cos(angle) - north * np.sin(angle)) / (outline.width_m / 2)
    if outline.shape == "ellipse":
        return np.asarray(along**2 + across**2 <= 1.0)
    return np.asarray((np.abs(along) <= 1.0) & (np.abs(across) <= 1.0))


def spiral_m(step_m: float, radius_m: float) -> Floats:
    """The strokes of a spiral about (0, 0) that leaves no gap in the disc of `radius_m`: (n, 2).

    A square spiral: the middle, then ring after ring, each stroke one `step_m` to the side of the
    last one, so that the strokes are the points of a square lattice. A stroke is left out when its
    own square of side `step_m` does not meet the disc. Hence every point of the disc lies within
    step_m / sqrt(2) of a stroke (the half diagonal of that square, reached in its corners), and
    every stroke within radius_m + step_m / sqrt(2) of the middle. [derived]

    Raises ValueError when the step is not positive, the radius is negative, or the spiral would
    have more than a thousand rings.
    """
    _positive(step_m=step_m)
    if not (math.isfinite(radius_m) and radius_m >= 0):
        raise ValueError(f"the radius of a spiral is not negative: radius_m = {radius_m}")
    rings = math.floor(radius_m / step_m + 0.5) + 1  # one spare: rounding cannot open a gap
    if rings > LARGEST_RINGS:
        raise ValueError(f"a spiral of {rings} rings: step_m is too small for radius_m")
    lattice = np.concatenate([_ring(number) for number in range(rings + 1)]) * step_m
    nearest = np.maximum(np.abs(lattice) - step_m / 2, 0.0)
    return lattice[np.hypot(nearest[:, 0], nearest[:, 1]) <= radius_m * (1 + 1e-12)]


def strokes_to_hit(
    strokes_m: Floats, outline: Outline, middle_m: Floats, azimuth_deg: Floats
) -> Ints:
    """How many strokes until the first hit: (n,), 0 where none of them hits.

    `strokes_m` (k, 2) in the order they are made; `middle_m` (n, 2) and `azimuth_deg` (n,) say
    where each of n buried outlines lies, in the same frame.
    """
    offset_m = strokes_m[None, :, :] - middle_m[:, None, :]
    hit = inside(offset_m, outline, azimuth_deg[:, None])
    return np.where(hit.any(axis=1), hit.argmax(axis=1) + 1, 0).astype(np.int64)


def grid_detection(outline: Outline, across_m: float, along_m: float) -> float:
    """The chance that a rectangular grid of strokes hits an outline that lies anyhow.

    The outline's azimuth and the grid's phase are random and even; the average is taken over the
    midpoints of TURNS azimuths and PHASES x PHASES phases, good to about 0.003. Where no two
    strokes can hit at once it is area / (across_m * along_m). Every stroke is taken to go straight
    down, deep enough, exactly on its point, and to be noticed when it hits. [derived]

    Raises ValueError for a spacing that is not positive.
    """
    _positive(across_m=across_m, along_m=along_m)
    # Outline and grid are their own mirror images: a quarter of the midpoints stands for all.
    turns_deg = (np.arange(TURNS // 2) + 0.5) / TURNS * 180.0
    shares = (np.arange(PHASES) + 0.5) / PHASES - 0.5
    half = shares[PHASES // 2 :]
    phases_m = np.stack(np.meshgrid(half * across_m, shares * along_m), axis=-1).reshape(-1, 2)
    hit = np.zeros((len(turns_deg), len(phases_m)), dtype=np.bool_)
    for stroke_m in _lattice(across_m, along_m, outline.reach_m):
        hit |= inside(phases_m[None, :, :] + stroke_m, outline, turns_deg[:, None])
    return float(hit.mean())


def body_detection(body: tuple[Posture, ...], across_m: float, along_m: float) -> float:
    """`grid_detection` averaged over postures; ValueError unless their shares add up to 1."""
    if not math.isclose(sum(posture.share for posture in body), 1.0):
        raise ValueError("the shares of the postures of a body add up to 1")
    return sum(
        posture.share * grid_detection(posture.outline, across_m, along_m) for posture in body
    )


def _lattice(across_m: float, along_m: float, reach_m: float) -> Floats:
    """Every grid point that may lie within `reach_m` of a middle in the cell around (0, 0)."""
    columns, rows = (math.ceil(reach_m / step_m + 0.5) for step_m in (across_m, along_m))
    east, north = np.meshgrid(np.arange(-columns, columns + 1), np.arange(-rows, rows + 1))
    points_m = np.stack([east * across_m, north * along_m], axis=-1).reshape(-1, 2)
    near_m = np.maximum(np.abs(points_m) - np.array([across_m, along_m]) / 2, 0.0)
    return points_m[np.hypot(near_m[:, 0], near_m[:, 1]) <= reach_m]


def _ring(number: int) -> Floats:
    """Ring `number` of the square spiral in steps: 8 * number points, anticlockwise."""
    if number == 0:
        return np.zeros((1, 2))
    up = np.arange(-number + 1, number + 1, dtype=np.float64)
    side = np.full_like(up, number)
    return np.concatenate(
        [
            np.stack([side, up], axis=-1),
            np.stack([-up, side], axis=-1),
            np.stack([-side, -up], axis=-1),
            np.stack([up, -side], axis=-1),
        ]
    )
