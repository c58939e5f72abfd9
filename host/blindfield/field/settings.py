"""Reads `field.toml`, which people write and we never rewrite.

Every mistake is a ConfigError that names the file, the line, what is wrong and the remedy.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from blindfield.field.outline import fault_of_outline
from blindfield.field.toml_lines import toml_lines
from blindfield.field.toml_table import (
    Source,
    Table,
    nearest,
    parse,
    read_text,
    refuse_twins,
    shown,
)
from blindfield.model.errors import ConfigError
from blindfield.model.field import (
    DEVICE_ID_BYTES,
    Field,
    Georeference,
    KeepOut,
    Point,
    Post,
    StartPoint,
    Target,
    TargetState,
)

FILE_NAME = "field.toml"
MAX_NAME_LENGTH = 32
DEPTH_RANGE_M = (0.0, 3.0)
SIDE_RANGE_M = (2.0, 500.0)
LEASE_RANGE_S = (5.0, 1200.0)
AZIMUTH_RANGE_DEG = (0.0, 360.0)
TILT_RANGE_DEG = (-90.0, 90.0)
SCHEMES = ("sim", "serial", "bus", "ble")
WITH_PORT = ("serial", "bus")

LATITUDE_RANGE_DEG = (-85.0, 85.0)
LONGITUDE_RANGE_DEG = (-180.0, 180.0)

_GEOREFERENCE = ("latitude_deg", "longitude_deg", "y_bearing_deg")
_KEYS = {
    "field": (
        *("name", "width_m", "height_m", "area_m", "media", "lease_s", "key", "logbook"),
        *_GEOREFERENCE,
    ),
    "target": (
        *("name", "device", "x_m", "y_m", "depth_m"),
        *("antenna_azimuth_deg", "antenna_tilt_deg", "state"),
    ),
    "post": ("name", "device"),
    "start": ("name", "x_m", "y_m"),
    "keep_out": ("name", "corners_m"),
}
_LISTS = ("target", "post", "start", "keep_out")
_HEADERS = {"field": "[field]", **{name: f"[[{name}]]" for name in _LISTS}}


def find_field(explicit: str | None = None) -> Path:
    """The field file: `explicit` (a file, or a folder that holds one), else ./field.toml.

    Raises ConfigError, with how to make one, when it is not there.
    """
    named = Path(explicit).expanduser() if explicit else Path(FILE_NAME)
    path = named / FILE_NAME if named.is_dir() else named
    if path.is_file():
        return path
    raise ConfigError(
        f"There is no field file {path}.",
        remedy="Name one with --field, or let `blindfield rig` make a practice field that needs "
        "no hardware.",
    )


def load_field(path: Path) -> Field:
    """The field that `path` describes; relative paths in it count from its folder.

    Raises ConfigError on the first mistake found.
    """
    text = read_text(path)
    document = parse(path, text)
    source = Source(path, toml_lines(text))
    _check_tables(source, document)
    return _field(source, document)


def _field(source: Source, document: dict[str, Any]) -> Field:
    table = _table(source, document["field"], "field")
    targets, posts, starts, outs = (_tables(source, document, name) for name in _LISTS)
    width_m = table.number("width_m", SIDE_RANGE_M, default=50.0)
    height_m = table.number("height_m", SIDE_RANGE_M, default=50.0)
    field = Field(
        name=_name(table),
        folder=source.path.parent.absolute(),
        width_m=width_m,
        height_m=height_m,
        media=_media(table),
        lease_s=table.optional_number("lease_s", LEASE_RANGE_S),
        key_path=table.path("key", default="field.key"),
        logbook_path=table.path("logbook", default="logbook.sqlite"),
        targets=tuple(_target(entry, width_m, height_m) for entry in targets),
        posts=tuple(Post(_name(entry), _device_id(entry)) for entry in posts),
        start_points=tuple(_start_point(entry, width_m, height_m) for entry in starts)
        or (StartPoint("start", width_m / 2, 0.0),),
        area_m=_corners(table, "area_m", width_m, height_m) if "area_m" in table.values else (),
        keep_outs=tuple(
            KeepOut(_name(entry), _corners(entry, "corners_m", width_m, height_m)) for entry in outs
        ),
        georeference=_georeference(table),
    )
    refuse_twins([*targets, *posts], "name")
    refuse_twins([*targets, *posts], "device")
    refuse_twins(starts, "name")
    refuse_twins(outs, "name")
    return field


def _check_tables(source: Source, document: dict[str, Any]) -> None:
    """Raises on unknown tables, wrong brackets and unknown keys: typing errors come first."""
    for name, value in document.items():
        if name not in _KEYS:
            raise _unknown_table(source, name)
        if name == "field" and isinstance(value, dict):
            _check_keys(_table(source, value, name))
        elif name != "field" and isinstance(value, list):
            for index, entry in enumerate(value):
                if not isinstance(entry, dict):
                    raise _wrong_brackets(source, name)
                _check_keys(_table(source, entry, name, index))
        else:
            raise _wrong_brackets(source, name)
    if "field" not in document:
        remedy = 'Begin with [field] and under it name = "..." and media = ["..."].'
        raise source.wrong((), "there is no [field] table.", remedy)


def _wrong_brackets(source: Source, name: str) -> ConfigError:
    count = "one table" if name == "field" else "a list of tables"
    return source.wrong((name,), f"{name} must be {count}.", f"Head it with {_HEADERS[name]}.")


def _unknown_table(source: Source, name: str) -> ConfigError:
    what = f"{shown(name)} is not known here."
    if name in _KEYS["field"]:
        return source.wrong((name,), what, f"Put {name} under the header [field].")
    meant = nearest(name, _KEYS)
    known = f"Known headers: {', '.join(_HEADERS.values())}."
    return source.wrong((name,), what, f"Did you mean {_HEADERS[meant]}?" if meant else known)


def _check_keys(table: Table) -> None:
    valid = _KEYS[str(table.where[0])]
    for key in table.values:
        if key in valid:
            continue
        meant = nearest(key, valid)
        remedy = f"Did you mean {meant}?" if meant else f"Known keys: {', '.join(valid)}."
        raise table.wrong(key, f"{shown(key)} is not a known key.", remedy)


def _table(source: Source, values: dict[str, Any], name: str, *index: int) -> Table:
    return Table(source, (name, *index), values, _HEADERS[name])


def _tables(source: Source, document: dict[str, Any], name: str) -> list[Table]:
    entries = enumerate(document.get(name, []))
    return [_table(source, entry, name, index) for index, entry in entries]


def _target(table: Table, width_m: float, height_m: float) -> Target:
    return Target(
        name=_name(table),
        device_id=_device_id(table),
        x_m=table.number("x_m", (0.0, width_m)),
        y_m=table.number("y_m", (0.0, height_m)),
        depth_m=table.number("depth_m", DEPTH_RANGE_M),
        antenna_azimuth_deg=table.optional_number("antenna_azimuth_deg", AZIMUTH_RANGE_DEG),
        antenna_tilt_deg=table.optional_number("antenna_tilt_deg", TILT_RANGE_DEG),
        state=_state(table),
    )


def _start_point(table: Table, width_m: float, height_m: float) -> StartPoint:
    x_m = table.number("x_m", (0.0, width_m))
    return StartPoint(_name(table), x_m, table.number("y_m", (0.0, height_m)))


def _name(table: Table) -> str:
    name = table.text("name", example='"1"')
    if name == name.strip() and name.isprintable() and 0 < len(name) <= MAX_NAME_LENGTH:
        return name
    what = f"{shown(name)} cannot be a name."
    remedy = f"Give 1 to {MAX_NAME_LENGTH} ordinary characters, without spaces around them."
    raise table.wrong("name", what, remedy)


def _device_id(table: Table) -> bytes:
    remedy = "`blindfield devices` shows the number of every device it hears: copy it here."
    value = table.need("device", remedy)
    if isinstance(value, str) and re.fullmatch(f"[0-9a-fA-F]{{{2 * DEVICE_ID_BYTES}}}", value):
        return bytes.fromhex(value)
    digits = f'{2 * DEVICE_ID_BYTES} hex digits (0-9, a-f) in "quotes"'
    raise table.wrong("device", f"device must be {digits}, not {shown(value)}.", remedy)


def _corners(table: Table, key: str, width_m: float, height_m: float) -> tuple[Point, ...]:
    """Three corners or more, each [x, y] inside the field, whose lines do not cross."""
    remedy = f"Write it as {key} = [[0, 0], [50, 0], [40, 50]], each corner once."
    value = table.need(key, remedy)
    if not isinstance(value, list) or len(value) < 3:
        raise table.wrong(key, f"{key} must be a list of three corners or more.", remedy)
    corners = [_corner(table, key, corner, width_m, height_m) for corner in value]
    fault = fault_of_outline(corners)
    if fault:
        raise table.wrong(key, f"{key} {fault}.", remedy)
    return tuple(corners)


def _corner(table: Table, key: str, value: Any, width_m: float, height_m: float) -> Point:
    numbers = isinstance(value, list) and [
        float(one) for one in value if isinstance(one, (int, float)) and not isinstance(one, bool)
    ]
    if not numbers or len(numbers) != 2 or len(value) != 2:
        what = f"a corner must be two numbers, not {shown(value)}."
        raise table.wrong(key, what, "Write it as [x, y], in metres from the first peg.")
    if not (0.0 <= numbers[0] <= width_m and 0.0 <= numbers[1] <= height_m):
        what = f"the corner {shown(value)} lies outside the field."
        raise table.wrong(key, what, f"x goes to {width_m:g} m, y to {height_m:g} m.")
    return numbers[0], numbers[1]


def _georeference(table: Table) -> Georeference | None:
    if not any(key in table.values for key in _GEOREFERENCE):
        return None
    spans = (LATITUDE_RANGE_DEG, LONGITUDE_RANGE_DEG, AZIMUTH_RANGE_DEG)
    return Georeference(
        *(table.number(key, span) for key, span in zip(_GEOREFERENCE, spans, strict=True))
    )


def _state(table: Table) -> TargetState:
    value = table.values.get("state", TargetState.IN_PLACE.value)
    for state in TargetState:
        if state.value == value:
            return state
    choices = ", ".join(f'"{state.value}"' for state in TargetState)
    raise table.wrong("state", f"state cannot be {shown(value)}.", f"Write one of {choices}.")


def _media(table: Table) -> tuple[str, ...]:
    remedy = 'Write it as media = ["serial:/dev/ttyACM0"]'
    urls = table.need("media", remedy)
    if not isinstance(urls, list) or not urls or not all(isinstance(url, str) for url in urls):
        raise table.wrong("media", "media must be a list of texts, at least one.", remedy)
    media = tuple(_medium(table, url) for url in urls)
    if len(set(media)) < len(media):
        raise table.wrong("media", "media lists the same one twice.", "Leave one of them out.")
    return media


def _medium(table: Table, url: str) -> str:
    """A checked URL; a serial path with folders in it counts from the file's folder."""
    scheme, colon, rest = url.partition(":")
    if not colon or scheme not in SCHEMES:
        known = ", ".join(f"{name}:" for name in SCHEMES)
        raise table.wrong("media", f"{shown(url)} is no medium.", f"Begin it with {known}.")
    if not url.isprintable() or rest.startswith("//") or (not rest and scheme in WITH_PORT):
        remedy = f"Write {scheme}: and at once the port, such as serial:/dev/ttyACM0 or serial:COM3"
        raise table.wrong("media", f"{shown(url)} names no port.", remedy)
    if scheme in WITH_PORT and "/" in rest:
        return f"{scheme}:{(table.source.path.parent / rest).absolute()}"
    return url
