"""What lies today: the file, and all that people measured and did since."""

from __future__ import annotations

from typing import Any

import pytest

from blindfield.field.as_built import AsBuilt, Flag, as_built, drawable
from blindfield.model.errors import ConfigError
from blindfield.model.events import DeviceKey, Event
from blindfield.model.field import TargetState
from support.scenarios import small_field

EPOCH = b"loopclok"
PLACE = small_field(3)  # targets 1 2 3, at 0.65, 0.70 and 0.75 m


def event(kind: str, day: int = 1, **data: Any) -> Event:
    utc = f"2026-02-{day:02d}T09:30:00.000000Z"
    source: Any = "device" if kind == "dug_out" else "person"
    return Event(kind=kind, source=source, host_epoch=EPOCH, utc=utc, data=data)


def built(*events: Event) -> AsBuilt:
    return as_built(PLACE, events)


def depths(found: AsBuilt) -> list[float]:
    return [target.depth_m for target in found.field.targets]


def names(found: AsBuilt, band: tuple[float, float] = (0.0, 1.0), **how: bool) -> list[str]:
    return [one.name for one in drawable(found, band, **how)]


def test_without_entries_the_file_holds() -> None:
    found = built()
    assert found.field == PLACE
    assert {one.depth_said.source for one in found.targets} == {"field file"}
    assert names(found) == ["1", "2", "3"]
    assert not any(one.flags() for one in found.targets)


def test_new_snow_deepens_all_that_lie_and_settling_lifts_them() -> None:
    found = built(
        event("state", device="2", state="dug out"),
        event("snow", change_m=0.30),
        event("snow", change_m=-0.10),
    )
    assert depths(found) == pytest.approx([0.85, 0.70, 0.95])
    one = found.target_named("1")
    assert (one.measured_depth_m, one.snow_since_m) == (0.65, pytest.approx(0.20))
    assert one.flags() == (Flag.SNOW_SINCE,)
    assert found.target_named("2").flags() == ()


def test_drift_over_one_target_is_its_own() -> None:
    assert depths(built(event("snow", device="2", change_m=0.2))) == pytest.approx(
        [0.65, 0.90, 0.75]
    )


@pytest.mark.parametrize("means", ["probed", "strike", "hole"])
def test_a_measured_depth_overrides_all_snow_before_it_and_none_after(means: str) -> None:
    found = built(
        event("snow", change_m=0.5),
        event("depth", 3, device="1", depth_m=0.9, means=means, author="Ada"),
        event("snow", change_m=0.05),
    )
    one = found.target_named("1")
    assert one.target.depth_m == pytest.approx(0.95)
    assert one.depth_said.source == means
    assert one.depth_said.author == "Ada"
    assert one.depth_said.utc.startswith("2026-02-03")
    assert depths(found)[1] == pytest.approx(1.25)


def test_put_back_gives_a_new_depth_and_clears_what_was_known() -> None:
    found = built(
        event("placed", device="1", x_m=7.0, y_m=33.0, sigma_m=0.1, azimuth_deg=40.0, tilt_deg=5.0),
        event("snow", change_m=0.4),
        event("state", device="1", state="dug out"),
        event("snow", change_m=0.2),
        event("state", 5, device="1", state="put back", depth_m=1.0, author="Ada"),
    )
    one = found.target_named("1")
    assert one.target.state is TargetState.PUT_BACK
    assert one.target.depth_m == 1.0
    assert one.target.antenna_azimuth_deg is None
    assert (one.target.x_m, one.target.y_m) == (7.0, 33.0)
    assert one.flags() == (Flag.PUT_BACK_SINCE,)
    assert one.depth_said.source == "put back"


@pytest.mark.parametrize("state", ["put back", "in place"])
def test_back_without_a_depth_leaves_the_draw_until_one_is_said(state: str) -> None:
    back = [event("state", device="1", state=s) for s in ("dug out", state)]
    found = built(*back)
    assert found.target_named("1").flags() == (Flag.DEPTH_UNKNOWN,)
    assert names(found) == ["2", "3"]
    again = built(*back, event("depth", device="1", depth_m=0.8, means="probed"))
    assert names(again) == ["1", "2", "3"]


def test_dug_out_leaves_the_draw_and_frozen_in_leaves_digging_only() -> None:
    found = built(
        event("state", device="1", state="dug out"), event("state", device="2", state="frozen in")
    )
    assert names(found) == ["2", "3"]
    assert names(found, to_dig=True) == ["3"]
    assert found.target_named("1").out_of_draw() == "dug out"


def test_settled_keeps_the_depth() -> None:
    one = built(event("state", device="3", state="settled")).target_named("3")
    assert (one.target.state, one.target.depth_m) == (TargetState.SETTLED, 0.75)


@pytest.mark.parametrize(
    ("depth_m", "band", "flags"),
    [
        (1.0, (0.0, 1.0), ()),
        (1.004, (0.0, 1.0), ()),  # a probe is read to the centimetre
        (1.01, (0.0, 1.0), (Flag.TOO_DEEP,)),
        (1.01, (0.5, 1.5), ()),
        (0.49, (0.5, 1.5), (Flag.TOO_SHALLOW,)),
        (0.0, (0.0, 1.0), ()),
    ],
)
def test_a_depth_outside_the_band_is_flagged_and_leaves_the_draw(
    depth_m: float, band: tuple[float, float], flags: tuple[Flag, ...]
) -> None:
    found = built(event("depth", device="2", depth_m=depth_m, means="probed"))
    assert found.target_named("2").flags(band) == flags
    assert ("2" in names(found, band)) == (not flags)


def test_a_target_that_melted_out_is_too_shallow_at_depth_nought() -> None:
    found = built(event("snow", change_m=-0.70))
    assert depths(found) == [0.0, 0.0, pytest.approx(0.05)]
    assert Flag.TOO_SHALLOW in found.target_named("1").flags()
    assert Flag.TOO_SHALLOW not in found.target_named("2").flags()
    # What it lies under now counts from the measured depth, not from the nought that is shown.
    assert depths(built(event("snow", change_m=-0.70), event("snow", change_m=0.10)))[
        0
    ] == pytest.approx(0.05)


def test_the_newest_place_holds_and_readings_without_a_place_lead_back_to_the_file() -> None:
    first = event("placed", device="1", x_m=7.0, y_m=33.0, sigma_m=0.2, readings=[])
    found = built(first, event("placed", 2, device="1", x_m=7.1, y_m=33.1, sigma_m=0.1))
    one = found.target_named("1")
    assert (one.target.x_m, one.target.y_m, one.sigma_m) == (7.1, 33.1, 0.1)
    assert one.place_said.utc.startswith("2026-02-02")
    back = built(first, event("placed", device="1", readings=[["tape", "A", 12.0]]))
    assert back.field == PLACE
    assert not back.target_named("1").place_measured


def test_an_attitude_alone_leaves_the_place() -> None:
    place = event("placed", device="1", x_m=7.0, y_m=33.0)
    one = built(place, event("placed", device="1", azimuth_deg=40.0, tilt_deg=-10.0))
    target = one.target_named("1").target
    assert (target.x_m, target.antenna_azimuth_deg, target.antenna_tilt_deg) == (7.0, 40.0, -10.0)


def test_a_target_that_felt_itself_lifted_leaves_the_draw_until_a_person_speaks() -> None:
    key = DeviceKey(PLACE.targets[0].device_id, 1, 1)
    felt = Event(
        kind="dug_out",
        source="device",
        host_epoch=EPOCH,
        utc="2026-02-01T09:30:00.000000Z",
        device_key=key,
    )
    assert built(felt).target_named("1").flags() == (Flag.LIFTED,)
    assert names(built(felt)) == ["2", "3"]
    assert names(built(event("dug_out", device="2"))) == ["1", "3"]
    assert names(built(felt, event("state", device="1", state="in place"))) == ["1", "2", "3"]


def test_entries_of_other_fields_targets_and_kinds_change_nothing() -> None:
    found = built(
        event("depth", device="1", depth_m=2.0, field="Another Hollow"),
        event("depth", device="99", depth_m=2.0),
        event("depth", depth_m=2.0),
        event("depth", device="1"),
        event("state", device="1", state="melted"),
        event("note", text="cold"),
    )
    assert found.field == PLACE


def test_an_unknown_target_is_refused_by_name() -> None:
    with pytest.raises(ConfigError, match='no target named "9"'):
        built().target_named("9")
