"""Places for words on a map or picture, where they hide the least."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from blindfield.model.area import Area
from blindfield.physics.arrays import Floats

_DIRECTIONS = 16
_REACHES = (1.0, 1.6, 2.4, 3.6, 5.2)
# What a place costs: by the share outside and covered, by points of lines hidden up to a most, by
# how many heights of the words it lies off. By eye.
_OUTSIDE, _COVERED, _CROSSED, _FAR = 1000.0, 100.0, 4.0, 6.0
_MOST_CROSSED = 10
_NO_ROOM = 40.0


@dataclass
class Places:
    """Room inside `area`, in its units. Boxes are (left, bottom, width, height)."""

    area: Area
    boxes: list[Area] = field(default_factory=list)
    weights: list[float] = field(default_factory=list)
    points: Floats = field(default_factory=lambda: np.empty((0, 2)))

    def avoid(self, x: Floats, y: Floats) -> None:
        """Lines through these points should stay visible."""
        fresh = np.stack([x, y], axis=-1).reshape(-1, 2)
        self.points = np.concatenate([self.points, fresh])

    def take(self, x: float, y: float, width: float, height: float, weight: float = 1.0) -> None:
        """A box centred there is in use; the more `weight`, the worse to hide it."""
        self.boxes.append(_box(x, y, width, height))
        self.weights.append(weight)

    def around(self, x: float, y: float, width: float, height: float) -> tuple[float, float]:
        """The centre of the best box beside the point, which is taken from then on."""
        spots = [
            (
                x + reach * (width / 2 + height / 2) * math.sin(turn),
                y + reach * height * 1.3 * math.cos(turn),
            )
            for reach in _REACHES
            for turn in (2 * math.pi * step / _DIRECTIONS for step in range(_DIRECTIONS))
        ]
        return self._take(spots, (x, y), width, height)

    def along(self, line: Floats, width: float, height: float) -> tuple[float, float] | None:
        """The same for a box that sits on one of the points (n, 2) of `line`; None where no room
        is left for it."""
        step = max(1, len(line) // 60)
        spots = [(float(x), float(y)) for x, y in line[::step]]
        if min(self.cost(*spot, width, height) for spot in spots) > _NO_ROOM:
            return None
        return self._take(spots, None, width, height)

    def cost(self, x: float, y: float, width: float, height: float) -> float:
        """How much a box centred there hides."""
        box = _box(x, y, width, height)
        inside = _shared(box, self.area)
        taken = zip(self.boxes, self.weights, strict=True)
        hidden = sum(weight * _shared(box, other) for other, weight in taken)
        covered = (
            (np.abs(self.points[:, 0] - x) < width * 0.55)
            & (np.abs(self.points[:, 1] - y) < height * 0.65)
        ).sum()
        share = width * height
        crossed = min(int(covered), _MOST_CROSSED)
        return float(
            _OUTSIDE * (1 - inside / share) + _COVERED * hidden / share + _CROSSED * crossed
        )

    def _take(
        self,
        spots: list[tuple[float, float]],
        near: tuple[float, float] | None,
        width: float,
        height: float,
    ) -> tuple[float, float]:
        costs = [
            self.cost(*spot, width, height)
            + (_FAR * math.dist(spot, near) / height if near else 0.0)
            for spot in spots
        ]
        x, y = spots[int(np.argmin(costs))]
        self.take(x, y, width, height)
        return x, y


def _box(x: float, y: float, width: float, height: float) -> Area:
    return Area(x - width / 2, y - height / 2, x + width / 2, y + height / 2)


def _shared(one: Area, other: Area) -> float:
    width = min(one.right_m, other.right_m) - max(one.left_m, other.left_m)
    height = min(one.top_m, other.top_m) - max(one.bottom_m, other.bottom_m)
    return max(0.0, width) * max(0.0, height)
