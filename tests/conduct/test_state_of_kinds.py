"""The reducer with runs that end by a person's word, and with words of the instructor."""

from __future__ import annotations

import pytest

from blindfield.conduct import state as runs
from blindfield.conduct.loading import carried_on
from blindfield.drills.catalogue import drill_named, shipped
from blindfield.drills.choice import recorded
from blindfield.drills.draw import draw
from blindfield.drills.drill import Aid
from support.drill_fields import wide_field
from support.story import START_S, Story, event

UTC = "2026-01-10T09:20:00.000000Z"


def begun(kind: str, *aids: Aid) -> Story:
    scenario = draw(wide_field(), drill_named(kind), seed=5, time_limit_s=600.0, aids=aids)
    return Story(recorded(scenario, (), "Vera", True)).start()


# Until somebody says done


def test_the_last_find_does_not_end_a_run_whose_number_is_not_told() -> None:
    story = begun("one_only")
    story.strike(story.first, 100.0)
    assert story.commands == []  # not even the horn: it would say that this was the last
    assert story.state.phase == "running"
    story.says("done", 400.0)
    assert story.commands == [runs.EndRun("done")]
    assert runs.outcome_of(story.state) == "met"


def test_done_too_early_is_not_met() -> None:
    story = begun("not_told")
    story.strike(story.first, 100.0)
    story.says("done", 200.0)
    assert story.state.phase == "ending"
    assert runs.outcome_of(story.state) == "not_met"


def test_done_in_overtime_is_not_met_though_all_was_found_in_time() -> None:
    story = begun("one_only")
    story.strike(story.first, 100.0)
    story.tell(event("time_limit", START_S + 600, limit_s=600.0, found=1, met=False))
    assert not story.state.met
    story.says("done", 610.0)
    assert runs.outcome_of(story.state) == "not_met"


def test_never_done_is_not_met() -> None:
    story = begun("one_only")
    story.strike(story.first, 100.0)
    for part in story.scenario.targets:
        story.tell(event("ended", START_S + 900, device=part.name, cause="sheet"))
    assert story.state.phase == "ending"
    assert runs.outcome_of(story.state) == "not_met"


def test_stopping_such_a_run_is_stopping_it() -> None:
    story = begun("one_only")
    story.strike(story.first, 100.0)
    story.says("stop", 120.0, by="searcher")
    assert runs.outcome_of(story.state) == "stopped"


def test_done_means_nothing_in_a_run_that_ends_at_the_last_find() -> None:
    story = begun("pair")
    story.says("done", 50.0)
    assert (story.state.phase, story.state.done, story.commands) == ("running", None, [])


def test_done_before_the_start_means_nothing() -> None:
    story = begun("one_only")
    story.says("done", -1.0)
    assert story.state.phase == "running"


# Dig only


def test_digging_alone_is_timed_to_the_word_done() -> None:
    story = begun("dig_only")
    assert story.state.to_find == 1
    story.says("done", 432.0)
    ((name, span),) = story.state.finds
    assert name == runs.THE_PACK
    assert span.best == pytest.approx(432.0)
    summary = runs.summary_of(story.state, ended_utc=UTC)
    assert (summary.outcome, summary.targets, summary.found) == ("met", 1, 1)
    assert (summary.work, summary.sent) == ("dig only", ())


def test_digging_longer_than_the_limit_is_kept_and_not_met() -> None:
    story = begun("dig_only")
    story.says("done", 700.0)
    summary = runs.summary_of(story.state, ended_utc=UTC)
    assert (summary.outcome, summary.found) == ("not_met", 1)


def test_one_resting_target_that_ends_early_does_not_end_a_run_in_which_nobody_sends() -> None:
    story = begun("dig_only")
    names = [part.name for part in story.scenario.targets]
    for name in names[:-1]:
        story.tell(event("ended", START_S + 300, device=name, cause="lease"))
        assert story.state.phase == "running"
    story.tell(event("ended", START_S + 900, device=names[-1], cause="sheet"))
    assert story.commands == [runs.EndRun("no target sends any more")]


# Words


def test_the_instructors_word_is_said_once_and_only_where_it_is_waited_for() -> None:
    story = begun("surprise")
    story.says("word_asked", 80.0)
    story.says("word_asked", 90.0)
    assert story.commands == [runs.SayWord(1, (story.second,), "instructor")]
    for kind in ("staggered", "pair", "one_only", "dig_only"):
        other = begun(kind)
        other.says("word_asked", 80.0)
        assert other.commands == []
        assert other.state.phase == "running"


def test_a_find_does_not_release_what_waits_for_the_instructor() -> None:
    story = begun("surprise")
    story.strike(story.first, 100.0)
    assert story.commands == []


def test_a_word_after_the_end_is_not_said() -> None:
    story = begun("surprise")
    story.says("stop", 50.0)
    story.says("word_asked", 51.0)
    assert not any(isinstance(command, runs.SayWord) for command in story.commands)


def test_a_target_that_restarts_after_the_word_goes_on_sending() -> None:
    story = begun("surprise")
    part = story.scenario.part(story.second)
    assert part is not None
    assert carried_on(part, story.state).cues[0].trigger == "on_word"
    story.says("word_asked", 80.0)
    assert carried_on(part, story.state).cues[0].trigger == "at"


# Signals that rest


def test_a_strike_while_the_signal_is_out_counts_and_is_told_for_what_it_is() -> None:
    story = begun("drop_out")
    story.strike(story.first, 130.0, sending=False)
    assert story.state.flags == (f"{story.first} was struck while it rested",)
    assert runs.outcome_of(story.state) == "met"


def test_a_strike_before_a_late_signal_is_told_as_early() -> None:
    story = begun("late_first")
    story.strike(story.first, 40.0, sending=False)
    assert story.state.flags == (f"{story.first} was struck before it sent",)


def test_an_aid_makes_a_struck_target_rest_after_a_restart_too() -> None:
    story = begun("pair", shipped().aids["struck_rests"])
    story.strike(story.first, 100.0)
    part = story.scenario.part(story.first)
    assert part is not None
    rests = carried_on(part, story.state).cues[-1]
    assert (rests.trigger, rests.sends, rests.time_s) == ("at", False, pytest.approx(100.0))


def test_the_line_in_the_list_says_who_searched_what() -> None:
    story = begun("pair")
    summary = runs.summary_of(story.state, ended_utc=UTC)
    assert (summary.searcher, summary.knows_places) == ("Vera", True)
    assert summary.start_point == story.scenario.start.name
    assert summary.sent == tuple(sorted((story.first, story.second)))
