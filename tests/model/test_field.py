from __future__ import annotations

from dataclasses import FrozenInstanceError
from pathlib import Path

import pytest

from blindfield.model.errors import ConfigError
from blindfield.model.field import Field, Post, Target, TargetState

FOLDER = Path("meadow")
ONE = Target("1", bytes(8), 3.0, 4.0, 1.0)
HUT = Target("Hut", bytes(7) + b"\x01", 5.0, 6.0, 1.5, state=TargetState.DUG_OUT)
POST = Post("post", bytes(7) + b"\x02")
FIELD = Field(
    name="meadow",
    folder=FOLDER,
    media=("sim:",),
    key_path=FOLDER / "field.key",
    logbook_path=FOLDER / "logbook.sqlite",
    targets=(ONE, HUT),
    posts=(POST,),
)


def test_a_target_is_found_by_name_whatever_its_capitals() -> None:
    assert FIELD.target_named("1") is ONE
    assert FIELD.target_named("hUT") is HUT


def test_an_unknown_target_is_refused_with_the_names_there_are() -> None:
    with pytest.raises(ConfigError, match=r'no target named "post".*1, Hut'):
        FIELD.target_named("post")


def test_a_device_is_a_target_a_post_or_a_stranger() -> None:
    assert FIELD.by_device_id(HUT.device_id) is HUT
    assert FIELD.by_device_id(POST.device_id) is POST
    assert FIELD.by_device_id(b"stranger") is None


@pytest.mark.parametrize("length", [0, 7, 9])
def test_a_device_id_of_another_length_is_refused(length: int) -> None:
    with pytest.raises(ValueError, match=f"8 bytes, not {length}"):
        Target("1", bytes(length), 0.0, 0.0, 1.0)
    with pytest.raises(ValueError, match=f"8 bytes, not {length}"):
        Post("post", bytes(length))


def test_values_cannot_be_changed() -> None:
    with pytest.raises(FrozenInstanceError):
        ONE.depth_m = 2.0  # type: ignore[misc]


def test_a_field_is_fifty_metres_square_unless_told() -> None:
    assert (FIELD.width_m, FIELD.height_m, FIELD.lease_s) == (50.0, 50.0, None)


def test_only_a_target_dug_out_cannot_be_found_and_a_frozen_one_not_dug() -> None:
    assert [state for state in TargetState if not state.lies] == [TargetState.DUG_OUT]
    assert [state for state in TargetState if state.lies and not state.may_be_dug] == [
        TargetState.FROZEN_IN
    ]


def test_the_outline_is_the_rectangle_unless_an_area_is_given() -> None:
    assert FIELD.outline_m == ((0.0, 0.0), (50.0, 0.0), (50.0, 50.0), (0.0, 50.0))
