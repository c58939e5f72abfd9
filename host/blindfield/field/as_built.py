"""The field as it lies today: what people measured and did since its file was written.

The file tells what was planned; events of the kinds placed, depth, state and snow tell what came
of it. Whoever draws, maps or plans over what lies asks here.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from blindfield.model.events import Event
from blindfield.model.field import Field, Target, TargetState

DepthBand = tuple[float, float]

DEPTH_BAND_M: DepthBand = (0.0, 1.0)  # "up to 1 m deep": drill standards, common practice
FROM_FILE = "field file"
SHOWN_DEPTH_DIGITS = 2  # a depth is read to the centimetre, and compared so


class Flag(StrEnum):
    """What whoever draws or digs must know of a target."""

    TOO_DEEP = "too deep"
    TOO_SHALLOW = "too shallow"
    DEPTH_UNKNOWN = "depth unknown"  # put back, and nobody said how deep
    LIFTED = "felt lifted"  # by its own sensor, and nobody wrote what became of it
    SNOW_SINCE = "snow changed since its depth was measured"
    PUT_BACK_SINCE = "put back since its place was measured"


@dataclass(frozen=True)
class Said:
    """Where a value comes from. `utc` is empty and `author` None where the field's file says it."""

    source: str
    utc: str = ""
    author: str | None = None


_FILE = Said(FROM_FILE)


@dataclass(frozen=True, kw_only=True)
class BuiltTarget:
    """One target as it lies now; `target` holds the newest place, depth, attitude and state.

    `sigma_m` is the standard error of a measured place, None where nobody measured.
    `measured_depth_m` is the last depth said, `snow_since_m` what the snow did over it since; the
    depth of today is their sum, never less than 0 in `target`. `depth_said.source`: field file,
    probed, strike, hole, or the state with which a depth was said (put back).
    """

    target: Target
    sigma_m: float | None = None
    place_said: Said = _FILE
    measured_depth_m: float
    snow_since_m: float = 0.0
    depth_said: Said = _FILE
    state_said: Said = _FILE
    depth_known: bool = True
    lifted: bool = False
    snow_changed: bool = False
    put_back_since_placed: bool = False

    @property
    def name(self) -> str:
        return self.target.name

    @property
    def place_measured(self) -> bool:
        return self.place_said.source != FROM_FILE

    def flags(self, depth_band_m: DepthBand = DEPTH_BAND_M) -> tuple[Flag, ...]:
        """What holds now; nothing is said about the depth of a target that does not lie."""
        depth_m = round(self.measured_depth_m + self.snow_since_m, SHOWN_DEPTH_DIGITS)
        lies = self.target.state.lies
        known = lies and self.depth_known
        low_m, high_m = depth_band_m
        holds = {
            Flag.TOO_DEEP: known and depth_m > high_m,
            Flag.TOO_SHALLOW: known and (depth_m < low_m or depth_m < 0.0),
            Flag.DEPTH_UNKNOWN: lies and not self.depth_known,
            Flag.LIFTED: lies and self.lifted,
            Flag.SNOW_SINCE: lies and self.snow_changed,
            Flag.PUT_BACK_SINCE: lies and self.put_back_since_placed,
        }
        return tuple(flag for flag, is_so in holds.items() if is_so)

    def out_of_draw(self, depth_band_m: DepthBand = DEPTH_BAND_M) -> str:
        """Why no problem may use it now, in users' words; empty when one may."""
        if not self.target.state.lies:
            return str(self.target.state.value)
        return ", ".join(flag for flag in self.flags(depth_band_m) if flag in _OUT_OF_DRAW)


_OUT_OF_DRAW = (Flag.TOO_DEEP, Flag.TOO_SHALLOW, Flag.DEPTH_UNKNOWN, Flag.LIFTED)


@dataclass(frozen=True)
class AsBuilt:
    """`field` is the Field with its targets as they lie now; `targets` tells who says so."""

    field: Field
    targets: tuple[BuiltTarget, ...]

    def target_named(self, name: str) -> BuiltTarget:
        """Capital or not; ConfigError when the field has none of that name."""
        wanted = self.field.target_named(name)
        return next(one for one in self.targets if one.target is wanted)


def as_built(place: Field, events: Sequence[Event]) -> AsBuilt:
    """The field after `events`, in their order; other kinds, fields and devices are passed over.

    The newest `placed` tells the whole truth about a place: one with readings that give no place
    yet leads back to the file's. New snow deepens and settling lifts every target that lies, or
    the one it names. A measured depth overrides all snow before it. A target that was put back, or
    lies again after it was dug out, keeps of what was known before only its place. A device's own
    `dug_out` raises a flag and changes no state: people say what became of a target.
    """
    built = {
        target.name.casefold(): BuiltTarget(target=target, measured_depth_m=target.depth_m)
        for target in place.targets
    }
    planned = {target.name.casefold(): target for target in place.targets}
    for event in events:
        change = _CHANGES.get(event.kind)
        if change is None or event.data.get("field", place.name) != place.name:
            continue
        for name in _meant(place, event):
            built[name] = change(built[name], event, planned[name])
    targets = tuple(map(_with_depth_of_today, built.values()))
    field = dataclasses.replace(place, targets=tuple(one.target for one in targets))
    return AsBuilt(field, targets)


def drawable(
    built: AsBuilt, depth_band_m: DepthBand = DEPTH_BAND_M, *, to_dig: bool = False
) -> tuple[BuiltTarget, ...]:
    """The targets that a problem may use: lying, at a known depth within the band, not lifted.

    `to_dig`: also not frozen in.
    """
    return tuple(
        one
        for one in built.targets
        if not one.out_of_draw(depth_band_m) and (one.target.state.may_be_dug or not to_dig)
    )


def _meant(place: Field, event: Event) -> list[str]:
    """The targets an event is about, by their names in small letters."""
    known = {target.name.casefold(): target for target in place.targets}
    name = event.data.get("device")
    if name is not None:
        return [str(name).casefold()] if str(name).casefold() in known else []
    if event.device_key is not None:
        return [n for n, one in known.items() if one.device_id == event.device_key.device_id]
    return list(known) if event.kind == "snow" else []


def _said(event: Event, source: str) -> Said:
    return Said(source, event.utc, event.data.get("author"))


def _placed(one: BuiltTarget, event: Event, planned: Target) -> BuiltTarget:
    data = event.data
    attitude = {
        key: data[name]
        for key, name in (("antenna_azimuth_deg", "azimuth_deg"), ("antenna_tilt_deg", "tilt_deg"))
        if data.get(name) is not None
    }
    if data.get("x_m") is not None and data.get("y_m") is not None:
        return dataclasses.replace(
            one,
            target=dataclasses.replace(one.target, x_m=data["x_m"], y_m=data["y_m"], **attitude),
            sigma_m=data.get("sigma_m"),
            place_said=_said(event, "measured"),
            put_back_since_placed=False,
        )
    back: dict[str, Any] = {}
    if data.get("readings") is not None:
        back = {"x_m": planned.x_m, "y_m": planned.y_m}
        one = dataclasses.replace(one, sigma_m=None, place_said=_FILE, put_back_since_placed=False)
    return dataclasses.replace(one, target=dataclasses.replace(one.target, **back, **attitude))


def _depth(one: BuiltTarget, event: Event, _: Target) -> BuiltTarget:
    depth_m = event.data.get("depth_m")
    if depth_m is None:
        return one
    return _at_depth(one, depth_m, _said(event, event.data.get("means", "probed")))


def _at_depth(one: BuiltTarget, depth_m: float, said: Said) -> BuiltTarget:
    return dataclasses.replace(
        one,
        measured_depth_m=depth_m,
        snow_since_m=0.0,
        depth_said=said,
        depth_known=True,
        snow_changed=False,
        lifted=False,
    )


def _state(one: BuiltTarget, event: Event, _: Target) -> BuiltTarget:
    try:
        state = TargetState(event.data.get("state", ""))
    except ValueError:
        return one  # a word of a newer program
    back = state is TargetState.PUT_BACK or (state.lies and not one.target.state.lies)
    if back:
        one = _back_in_a_hole(one)
    said = _said(event, state.value)
    one = dataclasses.replace(
        one, target=dataclasses.replace(one.target, state=state), state_said=said, lifted=False
    )
    depth_m = event.data.get("depth_m")
    return one if depth_m is None else _at_depth(one, depth_m, said)


def _back_in_a_hole(one: BuiltTarget) -> BuiltTarget:
    """Nothing said of it before holds but the place, and that only about."""
    target = dataclasses.replace(one.target, antenna_azimuth_deg=None, antenna_tilt_deg=None)
    return dataclasses.replace(
        one,
        target=target,
        snow_since_m=0.0,
        snow_changed=False,
        depth_known=False,
        put_back_since_placed=one.place_measured,
    )


def _snow(one: BuiltTarget, event: Event, _: Target) -> BuiltTarget:
    change_m = event.data.get("change_m")
    if change_m is None or not one.target.state.lies:
        return one
    return dataclasses.replace(
        one, snow_since_m=one.snow_since_m + change_m, snow_changed=one.depth_known
    )


def _felt_lifted(one: BuiltTarget, _event: Event, _: Target) -> BuiltTarget:
    return dataclasses.replace(one, lifted=True)


_CHANGES = {
    "placed": _placed,
    "depth": _depth,
    "state": _state,
    "snow": _snow,
    "dug_out": _felt_lifted,
}


def _with_depth_of_today(one: BuiltTarget) -> BuiltTarget:
    depth_m = max(0.0, round(one.measured_depth_m + one.snow_since_m, 6))
    return dataclasses.replace(one, target=dataclasses.replace(one.target, depth_m=depth_m))
