"""Made-up places for the devices of a rig, so that it is a field like any other."""

from __future__ import annotations

from pathlib import Path

from blindfield.model.field import Field, Post, StartPoint, Target

_SIDE_M = 50.0
_MARGIN_M = 6.0
_GOLDEN = 0.618034  # the golden ratio's part: no two places line up
_DEPTH_M = (0.5, 1.0)  # least, and how much more at most


def field_on(
    folder: Path, targets: dict[str, bytes], posts: dict[str, bytes], medium: str
) -> Field:
    """A field of these device numbers by name, reached by the URL `medium`; its key and logbook
    lie in `folder`."""
    return Field(
        name="practice rig",
        folder=folder,
        media=(medium,),
        key_path=folder / "field.key",
        logbook_path=folder / "logbook.db",
        width_m=_SIDE_M,
        height_m=_SIDE_M,
        targets=tuple(
            _place(name, number, place, len(targets))
            for place, (name, number) in enumerate(targets.items())
        ),
        posts=tuple(Post(name, number) for name, number in posts.items()),
        start_points=(
            StartPoint("gate", _SIDE_M / 2, 0.0),
            StartPoint("west", 0.0, _SIDE_M / 2),
        ),
    )


def _place(name: str, device_id: bytes, place: int, places: int) -> Target:
    """Rows up the field, each its own; some metres apart."""
    room_m = _SIDE_M - 2 * _MARGIN_M
    least_m, more_m = _DEPTH_M
    return Target(
        name=name,
        device_id=device_id,
        x_m=round(_MARGIN_M + room_m * ((0.3 + place * _GOLDEN) % 1.0), 1),
        y_m=round(_MARGIN_M + room_m * (place + 0.5) / places, 1),
        depth_m=round(least_m + more_m * ((place * _GOLDEN) % 1.0), 1),
    )
