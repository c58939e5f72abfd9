"""From a drawn scenario to the modelled searcher's problem."""

from __future__ import annotations

from dataclasses import replace

import pytest

from blindfield.drills.catalogue import drill_named
from blindfield.drills.draw import draw
from blindfield.model.errors import ConfigError
from blindfield.model.scenario import Cue, Scenario, WordRule
from blindfield.searcher.problem import EXAMPLE, check_problem, problem_of
from support.scenarios import drawn, small_field


def cued(scenario: Scenario, *cues: Cue) -> Scenario:
    """The scenario with these cues on its first target in play."""
    name = scenario.in_play[0].name
    parts = tuple(
        replace(part, cues=cues) if part.name == name else part for part in scenario.targets
    )
    return replace(scenario, targets=parts)


def test_only_the_targets_in_play_are_sources_where_the_scenario_has_them() -> None:
    scenario = drawn("pair")
    problem = problem_of(scenario, small_field())
    assert len(problem.sources) == 2 < len(scenario.targets)
    for source, part in zip(problem.sources, scenario.in_play, strict=True):
        assert (source.name, source.x_m, source.y_m) == (part.name, part.x_m, part.y_m)
        assert source.depth_m == part.depth_m
        assert source.period_s == pytest.approx(part.period_us / 1e6)
        assert source.on_s == pytest.approx(part.on_us / 1e6)
        assert source.phase_s == pytest.approx(part.phase_us / 1e6)
        assert source.starts == "start"


def test_the_run_and_the_field_are_taken_over() -> None:
    scenario = drawn("pair", end_on="dug_out", limit_s=480.0)
    problem = problem_of(scenario, small_field(), may_mark=False)
    assert (problem.width_m, problem.height_m) == (50.0, 50.0)
    assert (problem.start_x_m, problem.start_y_m) == (scenario.start.x_m, scenario.start.y_m)
    assert (problem.end_on, problem.time_limit_s) == ("dug_out", 480.0)
    assert problem.marking_allowed is False
    unmarked = problem_of(replace(scenario, marking=False), small_field())
    assert unmarked.marking_allowed is False
    assert problem_of(scenario, small_field()).marking_allowed is True
    assert problem.title == scenario.title


def test_the_antenna_lies_as_the_field_says_and_else_nobody_knows() -> None:
    field = small_field()
    noted = tuple(
        replace(t, antenna_azimuth_deg=30.0 * int(t.name), antenna_tilt_deg=-8.0)
        for t in field.targets
    )
    scenario = drawn("pair")
    for source in problem_of(scenario, replace(field, targets=noted)).sources:
        assert (source.azimuth_deg, source.tilt_deg) == (30.0 * int(source.name), -8.0)
    for source in problem_of(scenario, field).sources:
        assert (source.azimuth_deg, source.tilt_deg) == (None, None)


def test_a_second_signal_starts_on_the_first_find_or_at_its_else() -> None:
    scenario = drawn("staggered", limit_s=500.0)
    starts = {(s.starts, s.else_s) for s in problem_of(scenario, small_field()).sources}
    assert starts == {("start", None), ("first_find", 200.0)}


def test_a_signal_on_the_instructors_word_has_only_its_else() -> None:
    scenario = drawn("staggered", limit_s=500.0)
    scenario = replace(scenario, words=(WordRule(1, "instructor"),))
    starts = {(s.starts, s.else_s) for s in problem_of(scenario, small_field()).sources}
    assert starts == {("start", None), ("time", 200.0)}


def test_a_word_that_never_comes_and_has_no_else_leaves_no_source() -> None:
    scenario = cued(drawn("pair"), Cue("on_word", None, True, word=9))
    assert len(problem_of(scenario, small_field()).sources) == 1


def test_a_signal_that_begins_at_a_time() -> None:
    scenario = cued(drawn("single"), Cue("at", 42.0, True))
    (source,) = problem_of(scenario, small_field()).sources
    assert (source.starts, source.else_s) == ("time", 42.0)


def test_a_target_that_rests_after_its_strike() -> None:
    scenario = cued(drawn("single"), Cue("at", 0.0, True), Cue("on_my_strike", 3.0, False))
    (source,) = problem_of(scenario, small_field()).sources
    assert source.rests_s == 3.0


def test_a_cue_that_a_model_cannot_play_is_refused() -> None:
    scenario = cued(drawn("single"), Cue("on_my_dug_out", 1.0, True))
    with pytest.raises(ConfigError, match="on_my_dug_out"):
        problem_of(scenario, small_field())


def test_a_target_outside_the_field_is_named() -> None:
    scenario = drawn("single")
    outside = scenario.in_play[0]
    parts = tuple(
        replace(part, x_m=50.5) if part.name == outside.name else part for part in scenario.targets
    )
    with pytest.raises(ConfigError, match=rf"target {outside.name} .*outside the field"):
        problem_of(replace(scenario, targets=parts), small_field())


def test_a_start_outside_the_field_is_refused() -> None:
    scenario = drawn("single")
    scenario = replace(scenario, start=replace(scenario.start, y_m=-1.0))
    with pytest.raises(ConfigError, match=r"the start .*outside the field"):
        problem_of(scenario, small_field())


def test_a_scenario_in_which_nothing_sends_is_refused() -> None:
    with pytest.raises(ConfigError, match="no target sends"):
        problem_of(cued(drawn("single")), small_field())


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"depth_m": 0.0}, "depth"),
        ({"depth_m": float("nan")}, "depth"),
        ({"moment_a_m2": 0.0}, "moment"),
        ({"on_s": 1.5}, "pulses"),
        ({"x_m": float("nan")}, "outside"),
    ],
)
def test_an_impossible_source_is_refused(change: dict[str, float], said: str) -> None:
    source = replace(EXAMPLE.sources[0], **change)
    with pytest.raises(ConfigError, match=said):
        check_problem(replace(EXAMPLE, sources=(source,)))


def test_every_drill_can_be_made_a_problem() -> None:
    for kind, targets in (("single", 1), ("pair", 2), ("staggered", 2), ("three", 3)):
        scenario = draw(small_field(), drill_named(kind), seed=3, time_limit_s=600.0)
        assert len(problem_of(scenario, small_field()).sources) == targets


def test_the_example_is_two_targets_in_50_m_by_50_m() -> None:
    check_problem(EXAMPLE)
    assert (EXAMPLE.width_m, EXAMPLE.height_m, len(EXAMPLE.sources)) == (50.0, 50.0, 2)
