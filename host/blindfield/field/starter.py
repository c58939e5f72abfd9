"""The text of a new `field.toml`, with comments that teach whoever edits it next."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from pathlib import Path

from blindfield.model.field import (
    Field,
    Georeference,
    KeepOut,
    Point,
    Post,
    StartPoint,
    Target,
    TargetState,
)

_HEAD = """\
# A Blindfield practice field. People write this file; the program reads it and never changes it.
# What the program learns (runs, times, who dug what out) goes to the logbook.
#
# BEFORE ANYTHING SENDS
#   * These are practice devices, never rescue equipment. Nobody may rely on them in an accident.
#   * Practise only outside avalanche terrain. A real accident overrides everything: silence the
#     field (`blindfield silence`) and help.
#   * Transmitting at 457 kHz needs the permission of your local radio authority. Get it first.
#   * Keep other electronics 20 cm from a transceiver that sends, 50 cm from one that searches.
#   * Count the targets out and count them in again. Own transceivers back to send, group check.
#
# HOW TO WRITE IT
#   A line is: key = value. Text stands in "quotes", numbers have a point (1.2, not 1,2).
#   What follows a # is a comment. Lengths are metres, angles degrees, times seconds.
"""

_GROUND = """
# The ground. Put a peg in each corner. x runs from the first peg along the width, y along the
# height, both 0 at that peg. A ground that is no rectangle: area_m lists its corners as [x, y].
# For maps on the globe: latitude_deg and longitude_deg of the first peg, and y_bearing_deg, where
# the y axis points, clockwise from north.
[field]
"""

_MEDIA = """
# How this computer reaches the devices, each way as kind:where.
#   serial:/dev/ttyACM0   a USB or serial port (on Windows serial:COM3); a path with folders in
#                         it and no leading / counts from this file's folder
#   sim:practice          simulated devices inside the program, no hardware
#   bus:/dev/ttyUSB0      one pair of wires through the whole field (RS-485), many devices on it
#   ble:                  this computer's short-range radio; wet snow eats it: then use a wire
"""

_LEASE = """
# The lease: how long a target may go on sending when it hears nothing from this computer. Left
# out, it is the whole length of the problem, at most 20 minutes. Shorter (5 to 1200) is safer
# on a wire, but on radio through wet snow a target may then fall silent in the middle of a run.
"""

_FILES = """
# The field's secret key and the logbook, from this file's folder. Whoever has the key can make
# the field send: keep it to yourself. Anyone may silence the field, with no key.
"""

_TARGETS = """
# The targets, one [[target]] each. `device` is the number the device carries: `blindfield
# devices` shows those it hears. depth_m (0 to 3) is from the snow surface to the target.
# If you noted how the antenna lies, antenna_azimuth_deg (0 to 360, clockwise from the y axis)
# and antenna_tilt_deg (-90 to 90, above level) make debriefs truer. `state` is "in place", which
# may be left out, "dug out", "put back", "settled" or "frozen in" (can be probed, not dug).
"""

_POSTS = """
# The post: the device at the start, with the big button, the horn and the light.
"""

_KEEP_OUTS = """
# Ground where nothing may be buried, one [[keep_out]] each, with its corners as [x, y].
"""

_STARTS = """
# Places from which a searcher may be sent off. Several make more problems from the same holes.
"""


def starter_field_text(field: Field) -> str:
    """The commented text whose reading by `load_field`, in `field.folder`, is `field` again."""
    return "".join(
        (
            _HEAD,
            _GROUND,
            _lines(name=field.name, width_m=field.width_m, height_m=field.height_m),
            _corners("area_m", field.area_m),
            _georeference_text(field.georeference),
            _MEDIA,
            _media_text(field),
            _LEASE,
            "# lease_s = 120\n" if field.lease_s is None else _lines(lease_s=field.lease_s),
            _FILES,
            _lines(
                key=_from_folder(field.folder, field.key_path),
                logbook=_from_folder(field.folder, field.logbook_path),
            ),
            _entries(_TARGETS, map(_target_text, field.targets)),
            _entries(_POSTS, map(_post_text, field.posts)),
            _entries(_STARTS, map(_start_text, field.start_points)),
            _entries(_KEEP_OUTS, map(_keep_out_text, field.keep_outs)) if field.keep_outs else "",
        )
    )


def _entries(comment: str, texts: Iterable[str]) -> str:
    return comment + "\n".join(texts)


def _media_text(field: Field) -> str:
    urls = [_medium_text(field.folder, url) for url in field.media]
    if len(urls) == 1:
        return f"media = [{urls[0]}]\n"
    return "media = [\n" + "".join(f"    {url},\n" for url in urls) + "]\n"


def _medium_text(folder: Path, url: str) -> str:
    """A port inside the folder is written from there, so that the folder can be moved."""
    scheme, _, rest = url.partition(":")
    inside = _from_folder(folder, Path(rest))
    return _quoted(f"{scheme}:{inside}" if scheme in ("serial", "bus") and "/" in inside else url)


def _target_text(target: Target) -> str:
    text = "[[target]]\n" + _lines(
        name=target.name,
        device=target.device_id.hex(),
        x_m=target.x_m,
        y_m=target.y_m,
        depth_m=target.depth_m,
        antenna_azimuth_deg=target.antenna_azimuth_deg,
        antenna_tilt_deg=target.antenna_tilt_deg,
    )
    return text if target.state is TargetState.IN_PLACE else text + _lines(state=target.state)


def _post_text(post: Post) -> str:
    return "[[post]]\n" + _lines(name=post.name, device=post.device_id.hex())


def _start_text(start: StartPoint) -> str:
    return "[[start]]\n" + _lines(name=start.name, x_m=start.x_m, y_m=start.y_m)


def _keep_out_text(keep_out: KeepOut) -> str:
    return "[[keep_out]]\n" + _lines(name=keep_out.name) + _corners("corners_m", keep_out.corners_m)


def _corners(key: str, corners_m: Sequence[Point]) -> str:
    inside = ", ".join(f"[{_number(x_m)}, {_number(y_m)}]" for x_m, y_m in corners_m)
    return f"{key} = [{inside}]\n" if corners_m else ""


def _georeference_text(found: Georeference | None) -> str:
    return _lines(**asdict(found)) if found else ""


def _lines(**values: str | float | None) -> str:
    """One `key = value` line for each value that is not None."""
    return "".join(
        f"{key} = {_quoted(value) if isinstance(value, str) else _number(value)}\n"
        for key, value in values.items()
        if value is not None
    )


def _number(value: float) -> str:
    return repr(value).removesuffix(".0")


def _quoted(text: str) -> str:
    # JSON's escapes are all TOML's too; DEL alone must be escaped in TOML and is not in JSON.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _from_folder(folder: Path, path: Path) -> str:
    return (path.relative_to(folder) if path.is_relative_to(folder) else path).as_posix()
