"""What each kind of problem makes its targets do."""

from __future__ import annotations

import json
from typing import Any

import pytest

from blindfield.conduct.sheets import sheet_of
from blindfield.drills.catalogue import DRILLS, drill_named, shipped
from blindfield.drills.draw import draw
from blindfield.drills.geometry import apart_m, heard
from blindfield.model.scenario import Scenario, scenario_from_json
from support.drill_fields import wide_field
from support.scenarios import drawn as drawn_small

LIMIT_S = 600.0
SEEDS = range(25)


def drawn(kind: str, seed: int = 1, **more: Any) -> Scenario:
    return draw(wide_field(), drill_named(kind), seed=seed, time_limit_s=LIMIT_S, **more)


def first_cues(scenario: Scenario) -> list[Any]:
    return sorted((part.cues[0] for part in scenario.in_play), key=lambda c: c.trigger != "at")


@pytest.mark.parametrize("kind", sorted(DRILLS))
def test_the_number_in_play_is_one_of_the_drills(kind: str) -> None:
    numbers = {len(drawn(kind, seed).in_play) for seed in SEEDS}
    assert numbers == set(drill_named(kind).targets)


@pytest.mark.parametrize("kind", sorted(DRILLS))
def test_every_kind_survives_json_with_all_that_it_says(kind: str) -> None:
    scenario = drawn(kind)
    drill = drill_named(kind)
    assert scenario_from_json(json.loads(json.dumps(scenario.to_json()))) == scenario
    assert (scenario.told, scenario.marking, scenario.until) == (
        drill.told,
        drill.marking,
        drill.until,
    )
    assert scenario.briefing == drill.briefing


def test_a_scenario_of_an_earlier_version_can_be_read() -> None:
    old = drawn_small("staggered", end_on="dug_out").to_json()
    for name in ("work", "until", "told", "marking", "aids", "direction_deg", "briefing"):
        del old[name]
    for name in ("purpose", "watch", "searcher", "knows_places", "why"):
        del old[name]
    scenario = scenario_from_json(old)
    assert (scenario.work, scenario.until, scenario.why) == ("search and dig", "found", ())


def test_pairs_lie_as_their_kind_says() -> None:
    place = wide_field()
    for seed in SEEDS:
        one, two = (place.target_named(p.name) for p in drawn("pair_within_range", seed).in_play)
        assert heard(one, two.x_m, two.y_m, 40.0)
        assert apart_m(one, two) > 10.0
        one, two = (place.target_named(p.name) for p in drawn("pair_out_of_range", seed).in_play)
        assert heard(one, two.x_m, two.y_m, 40.0) is False
        one, two = (place.target_named(p.name) for p in drawn("close_pair", seed).in_play)
        assert apart_m(one, two) <= 10.0


def test_deep_is_deep() -> None:
    assert all(drawn("deep", seed).in_play[0].depth_m > 0.8 for seed in SEEDS)


def test_marking_is_taken_away_and_said() -> None:
    scenario = drawn("close_pair_no_marking")
    assert not scenario.marking
    assert "unusable" in scenario.briefing
    assert drawn("close_pair").marking


def test_a_surprise_comes_on_the_word_or_by_itself_at_a_drawn_moment() -> None:
    elses = []
    for seed in SEEDS:
        scenario = drawn("surprise", seed)
        first, second = first_cues(scenario)
        assert (first.trigger, first.time_s) == ("at", 0.0)
        assert (second.trigger, second.sends) == ("on_word", True)
        assert [(rule.word, rule.when) for rule in scenario.words] == [(second.word, "instructor")]
        elses.append(second.time_s)
    assert 0.25 * LIMIT_S <= min(elses) < 0.35 * LIMIT_S
    assert 0.5 * LIMIT_S < max(elses) <= 0.6 * LIMIT_S


def test_a_signal_drops_out_and_comes_back() -> None:
    for seed in SEEDS:
        (part,) = drawn("drop_out", seed).in_play
        begins, out, back = part.cues
        assert [cue.trigger for cue in part.cues] == ["at"] * 3
        assert (begins.sends, out.sends, back.sends) == (True, False, True)
        assert begins.time_s == 0.0
        assert out.time_s is not None
        assert back.time_s is not None
        assert 0.1 * LIMIT_S <= out.time_s <= 0.25 * LIMIT_S
        assert 0.05 * LIMIT_S <= back.time_s - out.time_s <= 0.12 * LIMIT_S + 0.1


def test_a_late_first_signal_is_late() -> None:
    moments = [drawn("late_first", seed).in_play[0].cues[0].time_s or 0.0 for seed in SEEDS]
    assert min(moments) >= 0.1 * LIMIT_S
    assert max(moments) <= 0.3 * LIMIT_S
    assert len(set(moments)) > 20


def test_overlap_is_set_before_the_start_whatever_is_asked() -> None:
    for pulses in ("own", "apart"):
        parts = drawn("overlap", pulses=pulses).in_play
        assert {(part.period_us, part.phase_us) for part in parts} == {(1_000_000, 0)}


def test_how_many_is_not_told_looks_alike_before_the_start() -> None:
    one, more = drawn("one_only"), drawn("not_told")
    assert (one.told, one.until, one.briefing) == (more.told, more.until, more.briefing)
    assert (one.told, one.until) == (False, "done")


def test_nobody_sends_where_only_digging_counts() -> None:
    scenario = drawn("dig_only", end_on="strike")
    assert scenario.in_play == ()
    assert (scenario.work, scenario.until) == ("dig only", "done")
    assert len(scenario.targets) == 8


def test_the_aids_are_said_and_do_what_they_say() -> None:
    aids = shipped().aids
    rests = drawn("pair", aids=[aids["struck_rests"]])
    assert rests.aids == ("struck_rests",)
    for part in rests.in_play:
        last = part.cues[-1]
        assert (last.trigger, last.sends, last.time_s) == ("on_my_strike", False, 0.0)
    apart = drawn("three", aids=[aids["pulses_apart"]])
    assert sorted(part.phase_us for part in apart.in_play) == [0, 333_333, 666_666]
    assert {part.period_us for part in apart.in_play} == {1_000_000}


def test_the_longest_sheet_fits() -> None:
    """Names of devices and times as long as they get, with every cue a drill can have."""
    aids = shipped().aids.values()
    scenario = draw(wide_field(), drill_named("drop_out"), seed=1, time_limit_s=900, aids=aids)
    for part in scenario.targets:
        data = sheet_of(scenario, part, run_id=b"r" * 8, revision=255, rate=1.0001, lease_s=None)
        assert len(data) == 192


def test_directions_are_drawn_and_lead_into_the_ground() -> None:
    ways = {
        (scenario.start.name, scenario.direction_deg)
        for scenario in (drawn("pair", seed) for seed in range(200))
    }
    assert {way for name, way in ways if name == "south flag"} == {0.0, 30.0, 60.0, 300.0, 330.0}
    assert len({name for name, _ in ways}) == 4


def test_the_direction_tells_nothing_of_the_targets() -> None:
    """Who is in play is as likely for each of two directions; false alarm about 1 in 10 000."""
    hits = {0.0: [0, 0], 30.0: [0, 0]}
    for seed in range(1500):
        scenario = drawn("single", seed)
        count = hits.get(scenario.direction_deg or 0.0)
        if scenario.start.name == "south flag" and count is not None:
            count[0] += scenario.in_play[0].name in "1234"
            count[1] += 1
    (a, n), (b, m) = hits.values()
    share = (a + b) / (n + m)
    z = (a / n - b / m) / (share * (1 - share) * (1 / n + 1 / m)) ** 0.5
    assert abs(z) < 3.9
