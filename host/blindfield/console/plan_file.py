"""Writes a plan as a new field file. Nothing is ever written over."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from blindfield.field.plan import Plan
from blindfield.field.plan_objective import Lying
from blindfield.field.settings import FILE_NAME, MAX_NAME_LENGTH
from blindfield.field.starter import starter_field_text
from blindfield.model.errors import ConfigError
from blindfield.model.field import (
    DEVICE_ID_BYTES,
    Field,
    KeepOut,
    StartPoint,
    Target,
    TargetState,
)

NEW_NAME = "New field"
TRY_MEDIUM = "sim:"


def write_field(path: Path, made: Plan, place: Field | None) -> str:
    """Write it to `path` (or FILE_NAME in that folder); what to tell people. Raises ConfigError."""
    path = path / FILE_NAME if path.is_dir() else path
    folder = path.parent.absolute()
    field, invented = planned_field(folder, made, place)
    text = starter_field_text(field)
    if invented:
        text += "\n# Placeholders, no device carries them: " + ", ".join(
            f"{target.name} = {target.device_id.hex()}" for target in invented
        )
        text += "\n"
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise ConfigError(
            f"{path} is there already, and is never written over.", remedy="Name a new file."
        ) from None
    except OSError as error:
        raise ConfigError(f"{path} cannot be written: {error.strerror}.") from None
    return _told(path, invented, place, field.name)


def _told(path: Path, invented: list[Target], place: Field | None, name: str) -> str:
    lines = [f"Written: {path}"]
    if place is not None and name != place.name:
        lines.append(
            f"It is a field of its own, {name}: what was measured before stays with the old."
        )
    if invented:
        names = ", ".join(target.name for target in invented)
        lines.append(
            f"The device numbers of {names} in it are placeholders: copy those that `blindfield "
            "devices` shows."
        )
    if place is None:
        lines.append(
            f'It speaks to simulated devices (media = ["{TRY_MEDIUM}"]) until you name your own.'
        )
    return "\n".join(lines)


def planned_field(folder: Path, made: Plan, place: Field | None) -> tuple[Field, list[Target]]:
    """The field as planned, and its targets whose device numbers are invented."""
    old = {target.name: target for target in place.targets} if place else {}
    used = {target.device_id for target in old.values()}
    used |= {post.device_id for post in place.posts} if place else set()
    buried = {hole.target.name for hole in made.holes}
    targets, invented = [], []
    for one in made.targets:
        if one.name in old:
            placed = _moved(old[one.name], one)
            fresh = one.name in buried
            targets.append(replace(placed, state=TargetState.IN_PLACE) if fresh else placed)
            continue
        added = Target(one.name, _free_id(used), *_where(one))
        targets.append(added)
        invented.append(added)
    planned = {one.name for one in made.targets}
    for target in old.values():
        if target.name not in planned:
            targets.append(replace(target, state=TargetState.DUG_OUT))
    base = place or _new(folder, made)
    starts = made.task.starts
    # What was measured belongs to a field by its name: it must not move the holes of a new plan.
    name = _next_name(base.name) if place and place.logbook_path.exists() else base.name
    made_of = replace(base, name=name, folder=folder, targets=tuple(targets), start_points=starts)
    return made_of, invented


def _next_name(name: str) -> str:
    """Larch Hollow, Larch Hollow (2), Larch Hollow (3) ..."""
    found = re.fullmatch(r"(.*) \((\d+)\)", name)
    stem, number = (found[1], int(found[2]) + 1) if found else (name, 2)
    tail = f" ({number})"
    return stem[: MAX_NAME_LENGTH - len(tail)] + tail


def _moved(target: Target, planned: Lying) -> Target:
    x_m, y_m, depth_m, azimuth_deg, tilt_deg = _where(planned)
    return replace(
        target,
        x_m=x_m,
        y_m=y_m,
        depth_m=depth_m,
        antenna_azimuth_deg=azimuth_deg,
        antenna_tilt_deg=tilt_deg,
    )


def _where(one: Lying) -> tuple[float, float, float, float | None, float | None]:
    return one.x_m, one.y_m, one.depth_m, one.antenna_azimuth_deg, one.antenna_tilt_deg


def _free_id(used: set[bytes]) -> bytes:
    """The least number that is not in use; from now on it is."""
    number = 1
    while number.to_bytes(DEVICE_ID_BYTES, "big") in used:
        number += 1
    fresh = number.to_bytes(DEVICE_ID_BYTES, "big")
    used.add(fresh)
    return fresh


def _new(folder: Path, made: Plan) -> Field:
    ground = made.task.ground
    width_m, height_m = (max(corner[axis] for corner in ground.outline_m) for axis in (0, 1))
    box = ((0.0, 0.0), (width_m, 0.0), (width_m, height_m), (0.0, height_m))
    return Field(
        name=NEW_NAME,
        folder=folder,
        media=(TRY_MEDIUM,),
        key_path=folder / "field.key",
        logbook_path=folder / "logbook.sqlite",
        width_m=width_m,
        height_m=height_m,
        area_m=() if set(ground.outline_m) == set(box) else ground.outline_m,
        keep_outs=tuple(
            KeepOut(f"keep-out {number}", corners_m)
            for number, corners_m in enumerate(ground.keep_outs_m, 1)
        ),
        start_points=(StartPoint("start", 0.0, 0.0),),
    )
