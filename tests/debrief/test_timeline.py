"""From events to the story of a run."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from blindfield.debrief.timeline import build_timeline
from blindfield.debrief.values import TargetStory, Timeline
from blindfield.model.errors import LogbookError
from blindfield.model.events import Event
from blindfield.model.span import Span
from support import runs


def told(events: list[Event], **summary: Any) -> Timeline:
    return build_timeline(runs.record(runs.summary(**summary)), events)


def target(timeline: Timeline, name: str) -> TargetStory:
    found = timeline.target_named(name)
    assert found is not None
    return found


def kinds(timeline: Timeline) -> list[str]:
    return [flag.kind for flag in timeline.flags]


def short_run(*events: Event, **scenario: Any) -> Timeline:
    """A run with only these events between its start and its close at 10:00."""
    closed = runs.host("closed", 600.0, outcome="not_met")
    return told([runs.drawn(**scenario), runs.started(), *events, closed], outcome="not_met")


def test_finds_come_in_order_with_their_splits() -> None:
    finds = told(runs.good_run()).finds
    assert [find.target for find in finds] == ["Larch", "Gully"]
    assert finds[0].run_s.best == pytest.approx(192.48)
    assert finds[1].split_s.best == pytest.approx(340.66 - 192.48)


def test_a_split_is_as_wide_as_its_two_strikes_and_leaves_the_start_out() -> None:
    events = [runs.started(half_s=3.0) if e.kind == "started_all" else e for e in runs.good_run()]
    first, second = told(events).finds
    assert first.split_s.width == pytest.approx(6.004)
    assert second.run_s.width == pytest.approx(6.004)
    assert second.split_s.width == pytest.approx(0.008)


def test_every_strike_gets_its_standing() -> None:
    timeline = told(runs.good_run())
    standings = {
        story.name: [strike.standing for strike in story.strikes] for story in timeline.targets
    }
    assert standings["Larch"] == ["find", "repeat"]
    assert standings["Knoll"] == ["stray"]
    assert standings["Gully"] == ["find"]
    assert standings["Fir"] == []
    assert "stray" in kinds(timeline)


def test_a_strike_before_the_target_sent_is_found_and_flagged() -> None:
    timeline = short_run(
        runs.device("strike", "Gully", 50.0, shape="sharp"),
        runs.device("sends", "Gully", 420.0, 2, cue=0),
    )
    assert target(timeline, "Gully").strikes[0].standing == "early"
    assert [find.target for find in timeline.finds] == ["Gully"]
    assert "early" in kinds(timeline)


def test_the_target_itself_knows_whether_it_was_sending() -> None:
    struck = runs.device("strike", "Larch", 50.0, shape="sharp", sending=True)
    (strike,) = target(short_run(struck), "Larch").strikes
    assert (strike.standing, strike.sending) == ("find", True)


def test_a_strike_on_a_target_that_rests_again_is_no_early_one() -> None:
    timeline = short_run(
        runs.device("sends", "Larch", 0.0, 1, cue=0),
        runs.device("rests", "Larch", 40.0, 2),
        runs.device("strike", "Larch", 50.0, 3, shape="sharp", sending=False),
    )
    assert target(timeline, "Larch").strikes[0].standing == "find"


def test_a_strike_sooner_than_anyone_could_be_there_is_flagged_and_not_counted() -> None:
    timeline = short_run(
        runs.device("sends", "Larch", 0.0, 1, cue=0),
        runs.device("strike", "Larch", 2.0, 2, shape="sharp"),
        runs.device("strike", "Larch", 90.0, 3, shape="sharp"),
    )
    assert [one.standing for one in target(timeline, "Larch").strikes] == ["hasty", "find"]
    assert timeline.finds[0].run_s.best == pytest.approx(90.0)
    assert "hasty" in kinds(timeline)


def test_strikes_before_the_start_and_after_the_end_do_not_count() -> None:
    timeline = short_run(
        runs.device("strike", "Larch", -4.0, 1, shape="sharp"),
        runs.device("strike", "Larch", 650.0, 2, shape="sharp"),
    )
    assert [one.standing for one in target(timeline, "Larch").strikes] == ["outside", "outside"]
    assert timeline.finds == ()


def correction(verdict: str, seq: int, **data: Any) -> Event:
    key = [runs.DEVICE_IDS["Larch"].hex(), 9, seq]
    return runs.host("correction", None, "person", verdict=verdict, device_key=key, **data)


def test_a_withdrawn_strike_makes_the_next_one_the_find() -> None:
    timeline = told([*runs.good_run(), correction("no_strike", 2)])
    assert [one.standing for one in target(timeline, "Larch").strikes] == ["withdrawn", "find"]
    assert timeline.finds[0].run_s.best == pytest.approx(198.2)


def test_a_strike_said_to_be_on_another_target_moves_there() -> None:
    timeline = told([*runs.good_run(), correction("was_target", 2, target="Gully")])
    assert [one.standing for one in target(timeline, "Larch").strikes] == ["find"]
    assert [one.standing for one in target(timeline, "Gully").strikes] == ["early", "repeat"]


def test_a_corrected_time_is_known_to_the_second() -> None:
    timeline = told([*runs.good_run(), correction("at_time", 2, run_s=190.0)])
    assert timeline.finds[0].run_s == Span(189.5, 190.0, 190.5)


def test_a_correction_finds_its_event_by_the_number_in_the_logbook_too() -> None:
    events = [event.with_id(number) for number, event in enumerate(runs.good_run(), 1)]
    strike = next(event for event in events if event.kind == "strike")
    said = runs.host("correction", None, "person", verdict="no_strike", event_id=strike.id)
    assert target(told([*events, said]), "Larch").strikes[0].standing == "withdrawn"


def test_a_strike_that_only_a_person_saw_counts_as_called() -> None:
    said = runs.host("correction", None, "person", verdict="counts", target="Larch", run_s=100.0)
    timeline = short_run(said, runs.device("sends", "Larch", 0.0, cue=0))
    (strike,) = target(timeline, "Larch").strikes
    assert (strike.standing, strike.felt) == ("find", False)
    assert [find.target for find in timeline.finds] == ["Larch"]


def test_sending_lasts_from_sends_to_whatever_ends_it() -> None:
    timeline = short_run(
        runs.device("sends", "Larch", 0.0, 1),
        runs.device("rests", "Larch", 60.0, 2),
        runs.device("sends", "Larch", 120.0, 3),
        runs.device("ended", "Larch", 200.0, 4, cause="told"),
        runs.device("sends", "Gully", 10.0, 1),
    )
    sends = target(timeline, "Larch").sends
    assert [one.start.best for one in sends] == pytest.approx([0.0, 120.0])
    assert [one.end.best for one in sends if one.end] == pytest.approx([60.0, 200.0])
    assert target(timeline, "Gully").sends[0].end is None


def test_a_restarted_target_fell_silent_somewhere_before_it_came_back() -> None:
    timeline = short_run(
        runs.device("sends", "Larch", 0.0, 1),
        runs.device("strike", "Larch", 100.0, 2, shape="push"),
        runs.host("device_rebooted", 130.0, device="Larch", new_clock_id=5),
        runs.device("sends", "Larch", 135.0, 3),
    )
    first, second = target(timeline, "Larch").sends
    assert first.end is not None
    assert first.end.best is None
    assert first.end.low == pytest.approx(99.997)
    assert first.end.high == pytest.approx(130.001)
    assert second.start.best == pytest.approx(135.0)
    assert kinds(timeline) == ["rebooted"]


def test_planned_cues_stand_against_what_happened() -> None:
    timeline = told(runs.good_run())
    (larch,), (gully,) = target(timeline, "Larch").cues, target(timeline, "Gully").cues
    assert larch.followed == gully.followed == "as_planned"
    assert gully.due is not None
    assert gully.due.best == pytest.approx(193.05)
    assert gully.because == "2nd signal starts on the first strike"


def test_a_word_that_was_not_acknowledged_leaves_the_time_without_it() -> None:
    timeline = short_run(
        runs.host("word_sent", 100.0, device="Gully", word=1, acknowledged=False),
        runs.device("sends", "Gully", 420.0, 1, cue=0),
    )
    (cue,) = target(timeline, "Gully").cues
    assert (cue.followed, cue.due) == ("as_planned", Span(420.0, 420.0, 420.0))
    assert kinds(timeline) == ["word_unheard"]


@pytest.mark.parametrize(
    ("sends_at_s", "followed"), [(None, "missing"), (424.0, "late"), (420.2, "as_planned")]
)
def test_a_cue_that_comes_late_or_never_is_told(sends_at_s: float | None, followed: str) -> None:
    own = [] if sends_at_s is None else [runs.device("sends", "Gully", sends_at_s, cue=0)]
    (cue,) = target(short_run(*own), "Gully").cues
    assert cue.followed == followed


@pytest.mark.parametrize("trigger", ["on_my_strike", "on_my_dug_out"])
def test_a_cue_on_its_own_event_is_due_a_delay_after_it(trigger: str) -> None:
    scenario = runs.scenario()
    cue = {"trigger": trigger, "time_s": 5.0, "word": 0, "sends": False, "because": ""}
    larch = next(one for one in scenario["targets"] if one["name"] == "Larch")
    larch["cues"] = [cue]
    kind = "strike" if trigger == "on_my_strike" else "dug_out"
    never = short_run(targets=scenario["targets"])
    timeline = short_run(
        runs.device(kind, "Larch", 100.0),
        runs.device("rests", "Larch", 105.0, 2, cue=0),
        targets=scenario["targets"],
    )
    assert target(never, "Larch").cues[0].followed == "not_due"
    (cue,) = target(timeline, "Larch").cues
    assert cue.due is not None
    assert (cue.due.low, cue.due.best, cue.due.high) == pytest.approx((104.997, 105.0, 105.003))
    assert cue.followed == "as_planned"


def test_where_digging_ends_it_a_find_is_the_digging_out() -> None:
    timeline = short_run(
        runs.device("sends", "Larch", 0.0, 1, cue=0),
        runs.device("strike", "Larch", 100.0, 2, shape="sharp"),
        runs.device("dug_out", "Larch", 400.0, 3),
        runs.device("strike", "Gully", 200.0, 1, shape="sharp"),
        end_on="dug_out",
    )
    (find,) = timeline.finds
    assert find.run_s.best == pytest.approx(400.0)
    assert find.struck is not None
    assert find.struck.best == pytest.approx(100.0)


def test_a_target_dug_out_unfelt_or_out_of_play_is_flagged() -> None:
    timeline = short_run(
        runs.device("dug_out", "Larch", 100.0), runs.device("dug_out", "Fir", 200.0)
    )
    assert sorted(kinds(timeline)) == ["dug_stray", "unfelt"]
    assert timeline.finds == ()


def test_lost_links_say_for_how_long() -> None:
    timeline = short_run(
        runs.host("link_lost", 10.0, device="Fir"),
        runs.host("link_lost", 20.0, device="Larch"),
        runs.host("link_back", 25.0, device="Larch"),
        runs.host("link_lost", -50.0, device="Ridge"),
        runs.host("link_back", -40.0, device="Ridge"),
    )
    lost = [(flag.kind, flag.target, flag.seconds) for flag in timeline.flags]
    assert lost == [("gone", "Fir", None), ("link_lost", "Larch", pytest.approx(5.0, abs=0.01))]


def test_a_silence_is_one_flag_and_ends_the_run() -> None:
    timeline = short_run(
        runs.device("knock", "Gully", 300.0, 1),
        runs.device("silenced", "Gully", 300.1, 2, cause="knock", count=1),
        runs.host("silence_sent", 300.4, cause="knock"),
        runs.device("silenced", "Larch", 300.6, 1, cause="frame", count=1),
    )
    assert [(flag.kind, flag.target) for flag in timeline.flags] == [("silenced_by_knock", "Gully")]
    assert timeline.end_run_s is not None
    assert timeline.end_run_s.best == pytest.approx(300.0)
    assert timeline.stopped_by == "knock"


def test_flags_that_only_the_close_knows_are_kept_and_the_others_told_once() -> None:
    flags = ("the link to Fir was lost for a time", "battery low on Fir")
    timeline = told(runs.good_run(), flags=flags)
    assert [flag.text for flag in timeline.flags if flag.kind == "other"] == ["battery low on Fir"]


def test_the_limit_decides_by_the_latest_time_where_no_best_is_known() -> None:
    struck = runs.device("strike", "Larch", 100.0, shape="sharp")
    unsynced = replace(struck, host_s=Span(1100.0, None, 1950.0))
    timeline = short_run(runs.device("sends", "Larch", 0.0, 9, cue=0), unsynced)
    assert len(timeline.finds) == 1
    assert timeline.found_in_time == 0


def test_overtime_is_counted_from_the_limit() -> None:
    timeline = told(runs.good_run())
    assert timeline.overtime_s is None
    over = told([runs.drawn(time_limit_s=200.0), *runs.good_run()[1:]], time_limit_s=200.0)
    assert over.overtime_s == pytest.approx(140.66)
    assert over.found_in_time == 1


def test_an_event_of_another_program_run_is_placed_by_its_devices_own_clock() -> None:
    begun = runs.host(
        "start_sent", -3.0, device="Larch", start_device=[0, 500_000, 0], clock_id=runs.CLOCK_ID
    )
    strike = replace(
        runs.device("strike", "Larch", 192.48, shape="sharp"),
        host_epoch=b"restart!",
        host_s=Span(5.0, 5.1, 5.2),
    )
    sends = runs.device("sends", "Larch", 0.0, 9, cue=0)
    placed = short_run(begun, sends, strike).finds[0].run_s
    assert placed.best == pytest.approx(192.48)
    assert 0.03 < placed.width < 0.05
    unplaced = short_run(sends, strike).finds[0].run_s
    assert unplaced.best is None


def test_a_run_that_never_started_is_told_without_finds() -> None:
    events = [runs.drawn(), runs.host("start_cancelled", None, reason="Fir did not answer.")]
    timeline = told(events, outcome="interrupted", started_utc=None, find_run_s=())
    assert not timeline.started
    assert timeline.reason == "Fir did not answer"
    assert timeline.finds == ()


def test_a_record_without_a_problem_is_refused_in_words() -> None:
    with pytest.raises(LogbookError, match="does not hold its problem"):
        told([runs.started()])
    with pytest.raises(LogbookError, match="cannot be read"):
        told([runs.drawn(targets=[{"name": "Fir"}])])
