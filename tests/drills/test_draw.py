"""The draw: the same by seed, blind to order, feasible, and inside what devices accept."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blindfield.conduct.sheets import sheet_of
from blindfield.drills.catalogue import DRILLS, drill_named
from blindfield.drills.draw import draw
from blindfield.model.errors import ConfigError, NotReady
from blindfield.model.scenario import scenario_from_json
from fieldcore import sheet as core
from support.drill_fields import wide_field
from support.scenarios import drawn, small_field


def test_same_seed_gives_the_same_scenario_and_another_seed_another() -> None:
    assert drawn(seed=3) == drawn(seed=3)
    assert len({tuple(p.name for p in drawn(seed=n).in_play) for n in range(40)}) > 5


def test_every_target_is_in_play_about_equally_often() -> None:
    count = dict.fromkeys("123456", 0)
    for seed in range(600):
        for part in drawn(seed=seed).in_play:
            count[part.name] += 1
    assert all(150 <= n <= 250 for n in count.values()), count


def test_staggered_second_signal_waits_for_the_word_and_has_an_else() -> None:
    scenario = drawn("staggered")
    triggers = sorted(part.cues[0].trigger for part in scenario.in_play)
    assert triggers == ["at", "on_word"]
    assert [rule.when for rule in scenario.words] == ["first_find"]
    waiting = next(p for p in scenario.in_play if p.cues[0].trigger == "on_word")
    assert waiting.cues[0].time_s == pytest.approx(240.0)


@given(st.sampled_from(sorted(DRILLS)), st.integers(0, 2**31), st.floats(0.9999, 1.0001))
def test_every_sheet_of_every_draw_has_one_size_and_is_accepted_by_its_device(
    kind: str, seed: int, rate: float
) -> None:
    scenario = draw(wide_field(), drill_named(kind), seed=seed, time_limit_s=600.0)
    for part in scenario.targets:
        data = sheet_of(scenario, part, run_id=b"r" * 8, revision=1, rate=rate, lease_s=None)
        sheet = core.read(data, bytes.fromhex(part.device_id))
        assert len(data) == 192
        assert bool(sheet.cues) == part.in_play


@given(st.floats(0.0, 600.0))
def test_a_sheet_from_a_later_run_time_keeps_the_places_of_its_pulses(origin_s: float) -> None:
    scenario = drawn()
    part = scenario.targets[0]
    data = sheet_of(
        scenario, part, run_id=b"r" * 8, revision=2, rate=1.0, lease_s=None, origin_s=origin_s
    )
    sheet = core.read(data, bytes.fromhex(part.device_id))
    off_us = (origin_s * 1e6 + sheet.phase_us - part.phase_us) % part.period_us
    assert min(off_us, part.period_us - off_us) <= 1.0


def test_json_round_trip() -> None:
    scenario = drawn("three")
    import json

    assert scenario_from_json(json.loads(json.dumps(scenario.to_json()))) == scenario


def test_too_few_targets_are_refused_with_their_number() -> None:
    with pytest.raises(NotReady, match="needs 3 targets, the field has 2"):
        draw(small_field(2), drill_named("three"), seed=1, time_limit_s=600)


def test_dead_targets_are_never_drawn() -> None:
    for seed in range(50):
        scenario = draw(
            small_field(), drill_named("pair"), seed=seed, time_limit_s=600, alive=["1", "4", "5"]
        )
        assert {part.name for part in scenario.targets} == {"1", "4", "5"}


def test_an_unknown_drill_names_the_known_ones() -> None:
    with pytest.raises(ConfigError, match="staggered"):
        drill_named("stagered")


@pytest.mark.parametrize(("pulses", "phases"), [("together", [0, 0]), ("apart", [0, 500_000])])
def test_pulses_can_be_made_to_coincide_or_to_stay_apart(pulses: Any, phases: list[int]) -> None:
    scenario = draw(small_field(), drill_named("pair"), seed=9, time_limit_s=600, pulses=pulses)
    assert {part.period_us for part in scenario.in_play} == {1_000_000}
    assert sorted(part.phase_us for part in scenario.in_play) == phases


def test_pulses_of_their_own_differ_in_period_and_phase() -> None:
    one, two = drawn("pair", seed=9).in_play
    assert one.period_us != two.period_us
    assert one.phase_us != two.phase_us
