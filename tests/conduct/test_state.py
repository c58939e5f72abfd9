"""The run as a reducer: what each event does to the state, and which commands come out."""

from __future__ import annotations

import pytest

from blindfield.conduct import state as runs
from support.scenarios import drawn
from support.story import START_S, Story, event


def test_two_strikes_in_time_meet_the_limit_and_end_the_run() -> None:
    story = Story(drawn()).start()
    story.strike(story.first, 150.0)
    assert story.commands == [runs.SayWord(1, (story.second,))]
    story.strike(story.second, 320.0)
    assert story.commands[1:] == [runs.Sound(runs.HORN_FOUND), runs.EndRun("all found")]
    assert runs.outcome_of(story.state) == "met"
    assert [round(span.best or 0, 3) for _, span in story.state.finds] == [150.0, 320.0]


def test_a_find_in_overtime_does_not_meet_the_standard_but_is_kept() -> None:
    story = Story(drawn(limit_s=300.0)).start()
    story.strike(story.first, 150.0)
    story.tell(event("time_limit", START_S + 300, limit_s=300.0, found=1, met=False))
    assert story.state.phase == "overtime"
    story.strike(story.second, 330.0)
    assert runs.outcome_of(story.state) == "not_met"
    assert len(story.state.finds) == 2


def test_a_strike_that_was_made_in_time_but_fetched_late_counts_by_its_own_stamp() -> None:
    story = Story(drawn(limit_s=300.0)).start()
    story.strike(story.first, 150.0)
    story.tell(event("time_limit", START_S + 300, limit_s=300.0, found=1, met=False))
    story.strike(story.second, 299.0)
    assert runs.outcome_of(story.state) == "met"


def test_the_word_is_said_once() -> None:
    story = Story(drawn()).start()
    story.strike(story.first, 150.0)
    story.strike(story.first, 152.0)
    assert sum(isinstance(command, runs.SayWord) for command in story.commands) == 1
    assert story.state.finds[0][1].best == pytest.approx(150.0)


def test_a_strike_on_a_resting_target_is_stray_and_the_run_goes_on() -> None:
    story = Story(drawn()).start()
    story.strike(story.resting, 80.0, sending=False)
    assert story.commands == []
    assert story.state.flags == (f"stray strike on {story.resting}",)
    assert story.state.phase == "running"


def test_a_strike_before_anyone_could_be_there_is_flagged_and_does_not_count() -> None:
    story = Story(drawn()).start()
    story.strike(story.first, 1.0)
    assert not story.state.finds
    assert "earlier" in story.state.flags[0]


def test_a_target_found_before_it_sends_counts_and_is_flagged() -> None:
    story = Story(drawn()).start()
    story.strike(story.second, 60.0, sending=False)
    assert [name for name, _ in story.state.finds] == [story.second]
    assert "before it sent" in story.state.flags[0]


def test_digging_runs_end_when_both_are_dug_out() -> None:
    story = Story(drawn(end_on="dug_out")).start()
    story.strike(story.first, 150.0)
    story.strike(story.second, 250.0)
    assert not story.state.all_found
    story.tell(event("dug_out", START_S + 300, device=story.first))
    story.tell(event("dug_out", START_S + 400, device=story.second))
    assert story.state.all_found
    assert runs.outcome_of(story.state) == "met"


def test_knock_on_a_found_target_is_the_searchers_stop() -> None:
    story = Story(drawn()).start()
    story.strike(story.first, 150.0)
    story.tell(event("knock", START_S + 200, device=story.first))
    assert story.state.stopped
    assert runs.SilenceAll("knock") in story.commands
    assert runs.outcome_of(story.state) == "stopped"


def test_knock_on_any_other_target_interrupts() -> None:
    story = Story(drawn()).start()
    story.tell(event("knock", START_S + 200, device=story.resting))
    assert runs.outcome_of(story.state) == "interrupted"


def test_the_advertisement_of_a_knock_may_be_heard_of_before_the_knock_itself() -> None:
    story = Story(drawn()).start()
    story.strike(story.first, 150.0)
    story.tell(event("silenced", START_S + 201, device=story.resting, cause="air", count=1))
    assert runs.outcome_of(story.state) == "interrupted"
    story.tell(event("knock", START_S + 200, device=story.first))
    assert runs.outcome_of(story.state) == "stopped"


@pytest.mark.parametrize("cause", ["frame", "air", "button"])
def test_one_device_silenced_silences_all_and_interrupts(cause: str) -> None:
    story = Story(drawn()).start()
    story.tell(event("silenced", START_S + 50, device=story.resting, cause=cause, count=1))
    assert any(isinstance(command, runs.SilenceAll) for command in story.commands)
    assert runs.outcome_of(story.state) == "interrupted"


def test_stop_before_the_start_is_an_interruption_after_it_a_stop() -> None:
    before, after = Story(drawn()), Story(drawn()).start()
    for story in (before, after):
        story.tell(event("stop", 10.0, by="searcher", means="keyboard"))
        assert runs.EndRun("stopped") in story.commands
    assert runs.outcome_of(before.state) == "interrupted"
    assert runs.outcome_of(after.state) == "stopped"


def test_void_outweighs_everything() -> None:
    story = Story(drawn()).start()
    story.strike(story.first, 150.0)
    story.strike(story.second, 160.0)
    story.tell(event("void", START_S + 170, reason="a stranger's transceiver was sending"))
    assert runs.outcome_of(story.state) == "void"


def test_a_restarted_device_is_reloaded_and_the_run_flagged() -> None:
    story = Story(drawn()).start()
    story.tell(event("device_rebooted", START_S + 60, device=story.first, new_clock_id=2))
    assert runs.Reload(story.first) in story.commands
    assert "restarted" in story.state.flags[0]


def test_when_no_target_sends_any_more_the_run_ends_as_not_met() -> None:
    story = Story(drawn()).start()
    for name in (story.first, story.second):
        story.tell(event("ended", START_S + 900, device=name, cause="sheet"))
    assert runs.EndRun("no target sends any more") in story.commands
    assert runs.outcome_of(story.state) == "not_met"


def test_ends_by_silence_do_not_make_it_a_run_that_went_to_its_end() -> None:
    story = Story(drawn()).start()
    for name in (story.first, story.second):
        story.tell(event("ended", START_S + 50, device=name, cause="silence"))
    story.tell(event("silenced", START_S + 50, device=story.first, cause="frame", count=1))
    assert runs.outcome_of(story.state) == "interrupted"


def test_an_event_without_a_known_time_changes_nothing_but_does_no_harm() -> None:
    story = Story(drawn()).start()
    story.tell(event("strike", None, device=story.first))
    assert not story.state.finds


def test_replay_gives_the_same_state_as_the_run_did() -> None:
    story = Story(drawn()).start()
    story.strike(story.resting, 80.0, sending=False)
    story.strike(story.first, 150.0)
    story.strike(story.second, 320.0)
    assert runs.replay(story.events) == story.state


def test_a_closed_run_takes_no_more() -> None:
    story = Story(drawn()).start()
    story.tell(event("closed", START_S + 400, outcome="not_met"))
    story.strike(story.first, 150.0)
    assert story.state.outcome == "not_met"
    assert not story.state.finds
