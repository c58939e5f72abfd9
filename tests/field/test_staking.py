"""Staking: lengths that lead to the planned places, decoys that keep apart."""

from __future__ import annotations

import dataclasses
import json
import math
import re

import pytest

from blindfield.field.outline import is_inside
from blindfield.field.pegs import line_named, point_named
from blindfield.field.staking import DECOY_APART_M, decoy_places, how_to, staking_sheet
from blindfield.field.survey import Kind, Reading, adjust
from blindfield.model.errors import ConfigError
from blindfield.model.field import Field, KeepOut, Target
from support.scenarios import small_field

PLACE = small_field()
FIVE = dataclasses.replace(
    PLACE, area_m=((5.0, 0.0), (50.0, 0.0), (40.0, 50.0), (10.0, 45.0), (0.0, 20.0))
)


@pytest.mark.parametrize("place", [PLACE, FIVE])
def test_base_line_and_offset_lead_to_the_place(place: Field) -> None:
    for card in staking_sheet(place).cards:
        line = line_named(place, card.line)
        reached = [
            begin + along * card.along_m + across * card.offset_m
            for begin, along, across in zip(line.begin_m, line.along, line.across, strict=True)
        ]
        assert reached == pytest.approx([card.x_m, card.y_m], abs=0.01)
        assert 0 <= card.along_m <= line.length_m
        assert card.offset_m >= 0


@pytest.mark.parametrize("place", [PLACE, FIVE])
def test_the_arcs_cross_at_the_place_within_the_tape_and_the_check_agrees(place: Field) -> None:
    for card in staking_sheet(place, people=2).cards:
        assert card.check is not None
        lengths = (*card.arcs, card.check)
        assert all(one.length_m <= 50.0 for one in lengths)
        assert len({one.origin for one in lengths}) == 3
        assert card.crossing_deg >= 45
        tapes = [Reading(Kind.TAPE, one.origin, one.length_m) for one in card.arcs]
        found = adjust(place, tapes, (card.x_m, card.y_m))
        assert (found.x_m, found.y_m) == pytest.approx((card.x_m, card.y_m), abs=0.02)
        check_m = math.dist(point_named(place, card.check.origin), (card.x_m, card.y_m))
        assert card.check.length_m == pytest.approx(check_m, abs=0.006)


def test_cards_are_numbered_through_and_tell_depth_and_attitude() -> None:
    lying = dataclasses.replace(
        PLACE.targets[0], antenna_azimuth_deg=120.0, antenna_tilt_deg=-30.0, depth_m=0.9
    )
    place = dataclasses.replace(PLACE, targets=(lying, *PLACE.targets[1:]))
    cards = staking_sheet(place, decoys=2, seed=1).cards
    assert [card.number for card in cards] == list(range(1, 9))
    assert [card.name for card in cards[-2:]] == ["decoy 1", "decoy 2"]
    assert cards[0].depth_m == 0.9
    assert "120 deg" in cards[0].lies
    assert "30 deg down" in cards[0].lies
    assert "write down" in cards[1].lies
    assert "nothing goes in" in cards[-1].lies


def test_named_targets_alone_and_an_unknown_one() -> None:
    assert [card.name for card in staking_sheet(PLACE, ["4", "2"]).cards] == ["4", "2"]
    with pytest.raises(ConfigError, match='no target named "9"'):
        staking_sheet(PLACE, ["9"])


def test_decoys_keep_apart_inside_the_ground_and_off_what_is_kept_out() -> None:
    pond = ((20.0, 20.0), (45.0, 20.0), (45.0, 45.0), (20.0, 45.0))
    place = dataclasses.replace(FIVE, keep_outs=(KeepOut("pond", pond),))
    found = decoy_places(place, 6, seed=11)
    assert len(found) == 6
    others = [(target.x_m, target.y_m) for target in place.targets]
    for number, pit in enumerate(found):
        assert is_inside(place.outline_m, pit)
        assert not is_inside(pond, pit)
        apart = [math.dist(pit, other) for other in (*others, *found[:number])]
        assert min(apart) >= DECOY_APART_M


def test_the_same_seed_draws_the_same_decoys_and_another_others() -> None:
    assert decoy_places(PLACE, 4, 3) == decoy_places(PLACE, 4, 3)
    assert decoy_places(PLACE, 4, 3) != decoy_places(PLACE, 4, 4)


def test_more_decoys_than_fit_say_how_many_do() -> None:
    small = dataclasses.replace(PLACE, width_m=8.0, height_m=8.0, targets=())
    with pytest.raises(ConfigError, match=r"no room for 9 decoy pits: [1-8] fit"):
        decoy_places(small, 9, 1)


def test_one_person_and_two_get_the_work_that_they_can_do() -> None:
    one, two = (" ".join(how_to(staking_sheet(PLACE, people=n))) for n in (1, 2))
    assert re.search("offset.*arcs", one)
    assert "Two tapes" not in one
    assert "Two tapes" in two
    assert "scratch" not in two
    assert "Count the targets out" in one


def test_the_sheet_is_plain_json() -> None:
    found = json.loads(json.dumps(staking_sheet(PLACE, decoys=1, seed=2).to_json()))
    assert len(found["cards"]) == 7
    assert found["checks"][-1]["length_m"] == pytest.approx(70.711, abs=5e-4)


def test_a_target_on_a_peg_and_a_field_without_targets() -> None:
    corner = Target("1", bytes(8), 0.0, 0.0, 0.5)
    card = staking_sheet(dataclasses.replace(PLACE, targets=(corner,))).cards[0]
    assert all(one.length_m > 0 for one in card.arcs)
    assert staking_sheet(dataclasses.replace(PLACE, targets=())).cards == ()
