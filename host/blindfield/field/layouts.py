"""Starter layouts: two, three or four targets that one or two people bury in 20 to 40 minutes.

For the default field of 50 m x 50 m, some 0.9 m of snow and flags in the middle of two sides or
more. Found by the planner once, then kept, so that everybody's first field is the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

from blindfield.field.plan_objective import Lying


@dataclass(frozen=True)
class StarterLayout:
    """`purpose` says what it is good for; `targets` are to be buried."""

    purpose: str
    targets: tuple[Lying, ...]


def _lying(*rows: tuple[float, float, float, float, float]) -> tuple[Lying, ...]:
    """Targets no. 1, 2, ... of (x_m, y_m, depth_m, azimuth_deg, tilt_deg)."""
    return tuple(Lying(str(number), *row) for number, row in enumerate(rows, 1))


STARTERS = MappingProxyType(
    {
        2: StarterLayout(
            "one pair in range of each other, one of them deep: the search as it is taught first",
            _lying((16.0, 33.0, 0.6, 45.0, 0.0), (35.5, 20.0, 0.9, 135.0, 0.0)),
        ),
        3: StarterLayout(
            "three far apart: nobody hears all of them at once",
            _lying(
                (32.5, 1.0, 0.5, 90.0, 0.0),
                (49.0, 47.5, 0.9, 45.0, 0.0),
                (2.0, 38.0, 0.4, 135.0, 0.0),
            ),
        ),
        4: StarterLayout(
            "most kinds of problem from four holes: a close pair, a far one, a deep one",
            _lying(
                (46.0, 18.0, 0.9, 135.0, 0.0),
                (49.0, 27.5, 0.4, 0.0, 0.0),
                (30.0, 38.5, 0.4, 0.0, 90.0),
                (1.0, 37.0, 0.5, 135.0, 0.0),
            ),
        ),
    }
)
