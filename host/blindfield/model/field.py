"""A practice field as people describe it in `field.toml`: values only.

The origin is a corner peg; x runs along the width, y along the height, depth is straight down
from the snow surface.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from blindfield.model.errors import ConfigError

DEVICE_ID_BYTES = 8


Point = tuple[float, float]


class TargetState(StrEnum):
    """Where a target is now. In all but one of these it lies in the snow."""

    IN_PLACE = "in place"
    DUG_OUT = "dug out"
    PUT_BACK = "put back"  # freshly: the snow over it is still loose
    SETTLED = "settled"
    FROZEN_IN = "frozen in"  # can be found by probe, not dug

    @property
    def lies(self) -> bool:
        """Whether it can be found by a probe."""
        return self is not TargetState.DUG_OUT

    @property
    def may_be_dug(self) -> bool:
        return self.lies and self is not TargetState.FROZEN_IN


@dataclass(frozen=True)
class Target:
    """A buried device.

    `antenna_azimuth_deg` is clockwise from the field's y axis (0 to 360), `antenna_tilt_deg` is
    above the horizontal (-90 to 90); None where nobody noted how the target lies.
    """

    name: str
    device_id: bytes
    x_m: float
    y_m: float
    depth_m: float
    antenna_azimuth_deg: float | None = None
    antenna_tilt_deg: float | None = None
    state: TargetState = TargetState.IN_PLACE

    def __post_init__(self) -> None:
        _check_device_id(self.device_id)


@dataclass(frozen=True)
class Post:
    """The device at the surface, at the start."""

    name: str
    device_id: bytes

    def __post_init__(self) -> None:
        _check_device_id(self.device_id)


@dataclass(frozen=True)
class StartPoint:
    """A place from which a searcher may be sent off."""

    name: str
    x_m: float
    y_m: float


@dataclass(frozen=True)
class KeepOut:
    """A piece of ground where nothing is buried; `corners_m` go round it once."""

    name: str
    corners_m: tuple[Point, ...]


@dataclass(frozen=True)
class Georeference:
    """Where the first peg stands (WGS 84) and where the y axis points, clockwise from north."""

    latitude_deg: float
    longitude_deg: float
    y_bearing_deg: float


@dataclass(frozen=True, kw_only=True)
class Field:
    """One field: its size, what lies in it, how it is reached, where its key and logbook are.

    `media` are URLs (`scheme:rest`). `lease_s` is the longest time a target may send without
    hearing from the host; None leaves it at the whole length of a cue sheet. `area_m`: the corners
    of a ground that is no rectangle, inside width x height; empty when it is one.
    """

    name: str
    folder: Path
    media: tuple[str, ...]
    key_path: Path
    logbook_path: Path
    width_m: float = 50.0
    height_m: float = 50.0
    targets: tuple[Target, ...] = ()
    posts: tuple[Post, ...] = ()
    start_points: tuple[StartPoint, ...] = ()
    lease_s: float | None = None
    area_m: tuple[Point, ...] = ()
    keep_outs: tuple[KeepOut, ...] = ()
    georeference: Georeference | None = None

    @property
    def outline_m(self) -> tuple[Point, ...]:
        """The corners of the ground, going round it once."""
        x_m, y_m = self.width_m, self.height_m
        return self.area_m or ((0.0, 0.0), (x_m, 0.0), (x_m, y_m), (0.0, y_m))

    def target_named(self, name: str) -> Target:
        """The target of that name, capital or not; ConfigError when there is none."""
        for target in self.targets:
            if target.name.casefold() == name.casefold():
                return target
        known = ", ".join(target.name for target in self.targets) or "none"
        raise ConfigError(
            f'This field has no target named "{name}".', remedy=f"Its targets are: {known}."
        )

    def by_device_id(self, device_id: bytes) -> Target | Post | None:
        """The target or post that this device is, or None when the field does not list it."""
        devices: tuple[Target | Post, ...] = (*self.targets, *self.posts)
        for device in devices:
            if device.device_id == device_id:
                return device
        return None


def _check_device_id(device_id: bytes) -> None:
    if len(device_id) != DEVICE_ID_BYTES:
        raise ValueError(f"device_id must be {DEVICE_ID_BYTES} bytes, not {len(device_id)}")
