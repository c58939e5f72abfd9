"""Who hears whom: many layouts at once, by the dipole field and the receiver's range."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from blindfield.model.errors import ConfigError
from blindfield.physics.arrays import Floats
from blindfield.physics.dipole import field_a_m, magnitude_a_m
from blindfield.physics.receiver import displayed_distance_m

DEFAULT_RANGE_M = 40.0  # coaxial; common practice, no source
SPREAD_SHARE = 0.1  # 4 m of 40 m, as in the worked example of Schreilechner et al., ISSW 2009
RANGE_LIMITS_M = (5.0, 100.0)
HELD_M = 1.0  # a receiver above the snow; common practice, no source
# Mean of (shown distance / distance) over all attitudes of an antenna nobody noted; derived.
UNKNOWN_ATTITUDE = 1.14
_UNIT_MOMENT_A_M2 = 1.0


@dataclass(frozen=True)
class Hearing:
    """A receiver's greatest range (coaxial) and its spread, metres. Raises ConfigError."""

    range_m: float = DEFAULT_RANGE_M
    spread_m: float | None = None

    def __post_init__(self) -> None:
        least, most = RANGE_LIMITS_M
        if not (math.isfinite(self.range_m) and least <= self.range_m <= most):
            raise ConfigError(
                f"a range of {self.range_m:g} m is no transceiver's.",
                remedy=f"Say {least:g} to {most:g} m.",
            )
        if self.spread_m is not None and not 0 <= self.spread_m < self.range_m / 2:
            raise ConfigError(
                f"a spread of {self.spread_m:g} m does not go with a range of {self.range_m:g} m.",
                remedy="Say zero or more, and less than half the range.",
            )

    @property
    def sigma_m(self) -> float:
        return SPREAD_SHARE * self.range_m if self.spread_m is None else self.spread_m

    @property
    def sure_m(self) -> float:
        """Shown distance up to which a signal is heard for sure: range less two spreads."""
        return self.range_m - 2.0 * self.sigma_m

    @property
    def lost_m(self) -> float:
        """Distance beyond which nothing is heard, however the antennas lie."""
        return self.range_m + 2.0 * self.sigma_m


class Layouts(NamedTuple):
    """Many layouts of n targets: `xy_m` (b, n, 2), `depth_m` (b, n), `axis` (b, n, 3) unit vectors
    along the antennas (zero where nobody noted it), `edge_m` (b, n) from the outline."""

    xy_m: Floats
    depth_m: Floats
    axis: Floats
    edge_m: Floats


def shown_m(points_m: Floats, layouts: Layouts) -> Floats:
    """Distances (b, p, n) that a receiver shows at points (b or 1, p, 2), in its best attitude.

    At no angle less than the distance, and up to 1.26 times it: a signal is in range where this is
    at most the coaxial range (physics.receiver: range against coupling).
    """
    level_m = points_m[:, :, None, :] - layouts.xy_m[:, None, :, :]
    up_m = np.broadcast_to(layouts.depth_m[:, None, :] + HELD_M, level_m.shape[:-1])
    offset_m = np.concatenate([level_m, up_m[..., None]], axis=-1)
    moment = np.broadcast_to(layouts.axis[:, None], offset_m.shape)
    shown = displayed_distance_m(magnitude_a_m(field_a_m(offset_m, moment)), _UNIT_MOMENT_A_M2)
    noted = np.einsum("...i,...i->...", layouts.axis, layouts.axis) > 0
    if noted.all():
        return shown
    return np.where(noted[:, None, :], shown, UNKNOWN_ATTITUDE * magnitude_a_m(offset_m))
