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


class TargetState(StrEnum):
    """Where a target is now."""

    BURIED = "buried"
    DUG_OUT = "dug out"


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
    state: TargetState = TargetState.BURIED

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


@dataclass(frozen=True, kw_only=True)
class Field:
    """One field: its size, what lies in it, how it is reached, where its key and logbook are.

    `media` are URLs (`scheme:rest`). `lease_s` is the longest time a target may send without
    hearing from the host; None leaves it at the whole length of a cue sheet.
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
