"""A run held against a standard: met, not met, and what cannot be said."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blindfield.debrief.judged import verdict_json, verdict_lines
from blindfield.debrief.performance import performance_of, ticks_in
from blindfield.debrief.timeline import build_timeline
from blindfield.model.errors import NotReady
from blindfield.model.span import Span, exactly
from blindfield.scoring.judge import Found, Performance, Verdict, judge
from blindfield.scoring.standards import WHO_DECIDES, Standard, standard_named
from blindfield.scoring.ticks import Tick
from support import runs

DUG = standard_named("two_dug_out")
THREE = standard_named("three_strikes")
TECHNIQUE = standard_named("technique")


def found(*struck_s: float | None, dug_s: tuple[float | None, ...] = ()) -> tuple[Found, ...]:
    dug = [*dug_s, *[None] * (len(struck_s) - len(dug_s))]
    return tuple(
        Found(
            target=f"target {place}",
            struck=None if one is None else exactly(one),
            dug_out=None if out is None else exactly(out),
        )
        for place, (one, out) in enumerate(zip(struck_s, dug, strict=True), 1)
    )


def made(*struck_s: float | None, dug_s: tuple[float | None, ...] = (), **more: Any) -> Performance:
    values: dict[str, Any] = {
        "outcome": "met",
        "started": True,
        "work": "search and dig" if dug_s else "search only",
        "found": found(*struck_s, dug_s=dug_s),
        "depths_m": (0.8,) * len(struck_s),
        **more,
    }
    return Performance(**values)


def text(verdict: Verdict) -> str:
    return " ".join(verdict_lines(verdict))


# Times


@pytest.mark.parametrize(
    ("struck_s", "word", "in_time"),
    [
        ((90.0, 200.0, 419.9), "met", 3),
        ((90.0, 200.0, 420.0), "met", 3),
        ((90.0, 200.0, 420.1), "not met", 2),
        ((90.0, 200.0, None), "not met", 2),
        ((None, None, None), "not met", 0),
    ],
)
def test_the_last_strike_decides(
    struck_s: tuple[float | None, ...], word: str, in_time: int
) -> None:
    verdict = judge(THREE, made(*struck_s))
    assert (verdict.word, verdict.in_time) == (word, in_time)


def test_where_the_last_dug_out_decides_strikes_do_not() -> None:
    assert judge(DUG, made(90.0, 300.0, dug_s=(250.0, 599.0))).met
    verdict = judge(DUG, made(90.0, 300.0, dug_s=(250.0, 601.0)))
    assert verdict.word == "not met"
    assert "1 of 2 dug out in time. 1 more later." in text(verdict)
    assert judge(DUG, made(90.0, 300.0, dug_s=(250.0, None))).word == "not met"


def test_a_time_without_a_best_is_taken_at_its_latest() -> None:
    run = made(90.0, 200.0, 300.0)
    wide = replace(run.found[2], struck=Span(400.0, None, 430.0))
    verdict = judge(THREE, replace(run, found=(*run.found[:2], wide)))
    assert verdict.word == "not met"
    assert verdict.close


def test_a_time_that_is_known_too_badly_is_said_to_be_close() -> None:
    run = made(90.0, 200.0, 300.0)
    near = replace(run.found[2], struck=Span(419.5, 419.8, 420.5))
    verdict = judge(THREE, replace(run, found=(*run.found[:2], near)))
    assert (verdict.word, verdict.close) == ("met", True)
    assert "the best estimate was taken" in text(verdict)
    for surely in (Span(419.0, 419.5, 420.0), Span(420.1, 420.2, 420.3)):
        sure = replace(run.found[2], struck=surely)
        assert not judge(THREE, replace(run, found=(*run.found[:2], sure))).close


def test_where_the_number_is_not_told_somebody_has_to_say_done() -> None:
    run = made(90.0, 200.0, 300.0, until_done=True, told=False)
    assert judge(THREE, run).word == "not met"
    assert "Nobody said that the ground is clear" in text(judge(THREE, run))
    assert judge(THREE, replace(run, done=exactly(410.0))).met
    assert judge(THREE, replace(run, done=exactly(425.0))).word == "not met"


# Search without digging, under a standard of digging


def test_a_run_without_digging_never_meets_a_standard_with_it() -> None:
    verdict = judge(DUG, made(90.0, 200.0), own_digs_s=[100.0, 160.0, 130.0])
    assert verdict.word == "search part met, digging not tested"
    assert verdict.budget is not None
    assert verdict.budget.seconds == 600.0 - 2 * 130.0
    assert "Search budget 5:40: 10:00 less 2 holes of 2:10 (the middle of your 3 digs)." in text(
        verdict
    )


def test_the_search_budget_is_what_the_search_is_held_against() -> None:
    late = made(90.0, 341.0)
    assert judge(DUG, late, own_digs_s=[130.0]).word == "search part not met, digging not tested"
    assert judge(DUG, late).word == "search part met, digging not tested"
    assert "No dig time of yours is known" in text(judge(DUG, late))


def test_who_digs_longer_than_the_limit_has_no_time_to_search() -> None:
    verdict = judge(DUG, made(1.0, 2.0), own_digs_s=[400.0])
    assert verdict.budget is not None
    assert verdict.budget.seconds == 0.0
    assert verdict.word == "search part not met, digging not tested"


def test_with_shovellers_only_the_last_hole_takes_time() -> None:
    verdict = judge(replace(DUG, team="with shovellers"), made(90.0, 400.0), own_digs_s=[150.0])
    assert verdict.budget is not None
    assert (verdict.budget.holes, verdict.budget.seconds) == (1, 450.0)


def test_digging_where_the_standard_ends_on_strikes_is_mentioned() -> None:
    verdict = judge(THREE, made(90.0, 200.0, 300.0, dug_s=(150.0, 260.0, 500.0)))
    assert verdict.met
    assert "You dug in between" in text(verdict)


# Runs that say nothing of the standard


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"depths_m": (0.8, 1.2, 0.9)}, "Depth 1.20 m, the standard has 0 to 1 m."),
        ({"aided": True}, "made easier by an aid"),
        ({"work": "dig only"}, "only digging was timed"),
        ({"found": found(90.0, 200.0)}, "2 sent, the standard has 3."),
    ],
)
def test_what_is_not_the_standard_is_not_judged_by_it(changes: dict[str, Any], told: str) -> None:
    verdict = judge(THREE, replace(made(90.0, 200.0, 300.0), **changes))
    assert verdict.word == "not this standard"
    assert told in text(verdict)


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"outcome": "void"}, "declared void"),
        ({"outcome": "interrupted"}, "interrupted"),
        ({"started": False}, "did not start"),
    ],
)
def test_void_and_interrupted_count_neither_way(changes: dict[str, Any], told: str) -> None:
    verdict = judge(THREE, replace(made(90.0, 200.0, 300.0), **changes))
    assert verdict.word == "counts neither way"
    assert told in text(verdict)


def test_a_stopped_run_is_not_met() -> None:
    verdict = judge(THREE, made(90.0, None, None, outcome="stopped"))
    assert verdict.word == "not met"
    assert "stopped before its end" in text(verdict)


def test_what_was_not_quite_the_standard_is_said_beside_the_verdict() -> None:
    standard = replace(THREE, clock_starts="pack closed", told=False)
    run = made(90.0, 200.0, 300.0, area_m=(30.0, 50.0), knows_places=True)
    verdict = judge(standard, run)
    assert verdict.met
    assert "You know these holes: an upper bound." in text(verdict)
    assert "The area was 30 m x 50 m, the standard has 50 m x 50 m." in text(verdict)
    assert "You were told how many send" in text(verdict)
    assert "the clock starts with pack closed; this run's started with the horn" in text(verdict)
    assert judge(THREE, made(90.0, 200.0, 300.0, area_m=(50.0, 50.0))).beside == ()


# Steps and early fails


def test_an_early_fail_needs_somebody_who_saw_it() -> None:
    run = made(90.0, 200.0, 300.0)
    assert judge(THREE, run).met
    missed = Tick(step="own_to_search", value="missed", run_s=12.0)
    verdict = judge(THREE, run, [missed])
    assert verdict.word == "not met"
    assert "Failed early: Missed: Own transceiver to search. At 0:12." in text(verdict)
    assert judge(THREE, run, [replace(missed, value="put right")]).met


def test_an_early_fail_stands_above_a_search_part_that_was_met() -> None:
    missed = Tick(step="own_to_search", value="missed")
    assert judge(DUG, made(90.0, 200.0), [missed]).word == "not met"


def test_nothing_found_by_the_time_set_fails() -> None:
    standard = replace(THREE, first_strike_by_s=120.0)
    assert judge(standard, made(90.0, 200.0, 300.0)).met
    verdict = judge(standard, made(130.0, 200.0, 300.0, end_run_s=300.0))
    assert verdict.word == "not met"
    assert [fail.run_s for fail in verdict.early_fails] == [120.0]
    short = made(None, None, None, outcome="stopped", end_run_s=60.0)
    assert not judge(standard, short).early_fails


def test_more_strays_than_allowed_fail_at_the_first_too_many() -> None:
    standard = replace(THREE, strays_allowed=1)
    run = made(90.0, 200.0, 300.0)
    assert judge(standard, replace(run, strays=(exactly(50.0),))).met
    verdict = judge(standard, replace(run, strays=(exactly(150.0), exactly(50.0))))
    assert [fail.run_s for fail in verdict.early_fails] == [150.0]
    assert judge(THREE, replace(run, strays=(exactly(50.0),) * 9)).met


def test_required_steps_are_met_only_by_being_seen() -> None:
    standard = replace(THREE, required_steps=("strike_called", "own_to_search"))
    run = made(90.0, 200.0, 300.0)
    verdict = judge(standard, run)
    assert verdict.word == "met as far as seen"
    assert len(verdict.not_seen) == 4
    assert "so not known: Strike called (target 1, target 2, target 3); Own" in text(verdict)
    both = [Tick(step="strike_called"), Tick(step="own_to_search")]
    assert judge(standard, run, both).met
    missed = [Tick(step="strike_called", target="target 2", value="missed", run_s=200.0), both[1]]
    verdict = judge(standard, run, missed)
    assert verdict.word == "not met"
    assert [row.target for row in verdict.missing] == ["target 2"]


def test_what_is_too_late_is_not_met_whatever_nobody_saw() -> None:
    standard = replace(THREE, required_steps=("strike_called",))
    assert judge(standard, made(90.0, 200.0, 500.0)).word == "not met"


def test_technique_has_no_clock() -> None:
    ticks = [Tick(step=name) for name in TECHNIQUE.required_steps]
    verdict = judge(TECHNIQUE, made(500.0, 1100.0), ticks)
    assert verdict.met
    assert "2 of 2 struck." in verdict.because
    assert judge(TECHNIQUE, made(500.0, None), ticks).word == "not met"
    assert judge(TECHNIQUE, made(500.0, 1100.0)).word == "met as far as seen"


# In words


@pytest.mark.parametrize("standard", [DUG, THREE, TECHNIQUE])
def test_every_verdict_says_who_decides_and_where_the_standard_comes_from(
    standard: Standard,
) -> None:
    for run in (made(90.0, 200.0), made(90.0, 200.0, 300.0), made(1.0, outcome="void")):
        verdict = judge(standard, run)
        assert verdict_lines(verdict)[-1] == f"{WHO_DECIDES} Source: {standard.source}."
        assert verdict_json(verdict)["who_decides"] == WHO_DECIDES


def test_a_soloist_is_told_which_phases_nobody_saw() -> None:
    verdict = judge(THREE, made(90.0, 200.0, 300.0), [Tick(step="own_to_search", self_report=True)])
    assert "By your own report alone: before the search." in text(verdict)
    assert "Nobody saw these phases" in text(verdict)
    assert "signal search, coarse search" in text(verdict)


def test_an_order_that_was_wrong_is_told_with_both_times() -> None:
    ticks = [
        Tick(step="strike_called", target="target 1", run_s=90.0),
        Tick(step="bracketed", target="target 1", run_s=99.0),
    ]
    assert (
        "Order: Strike called at 1:30, Smallest reading bracketed both ways only at 1:39 "
        "(target 1)." in text(judge(THREE, made(90.0, 200.0, 300.0), ticks))
    )


# Out of the events of a run


def test_a_performance_is_read_from_the_events() -> None:
    events = [*runs.good_run(), runs.host("tick", 195.0, "person", step="strike_called")]
    timeline = build_timeline(runs.record(), events)
    run = performance_of(timeline, events, area_m=(50.0, 50.0))
    assert [one.target for one in run.found] == ["Gully", "Larch"]
    assert (run.outcome, run.work, run.depths_m) == ("met", "search only", (1.4, 1.2))
    assert [round(stray.low) for stray in run.strays] == [261]
    (tick,) = ticks_in(timeline, events)
    assert (tick.target, tick.run_s) == ("Larch", pytest.approx(195.0))
    verdict = judge(replace(DUG, depth_m=(0.0, 1.5)), run, [tick], own_digs_s=[100.0])
    assert verdict.word == "search part met, digging not tested"


def test_a_hole_dug_where_nothing_sent_is_a_stray_too() -> None:
    events = [runs.drawn(end_on="dug_out"), *runs.good_run()[1:]]
    events.insert(-1, runs.device("dug_out", "Knoll", 300.0, 2))
    run = performance_of(build_timeline(runs.record(), events), events)
    assert [round(stray.low) for stray in run.strays] == [261, 300]
    assert run.work == "search and dig"  # a record of an earlier version does not say so
    assert all(one.dug_out is None for one in run.found)


def test_an_open_run_has_no_performance() -> None:
    events = runs.good_run()[:5]
    timeline = build_timeline(runs.record(is_open=True), events)
    with pytest.raises(NotReady, match="stays blind"):
        performance_of(timeline, events)


@settings(max_examples=80, deadline=None)
@given(
    struck_s=st.lists(st.none() | st.floats(5, 1200), min_size=1, max_size=4),
    digs_s=st.lists(st.floats(30, 600), max_size=4),
    sooner_s=st.floats(0, 100),
)
def test_who_is_sooner_is_never_judged_worse_and_no_search_alone_passes_a_dig(
    struck_s: list[float | None], digs_s: list[float], sooner_s: float
) -> None:
    sooner = [None if one is None else max(5.0, one - sooner_s) for one in struck_s]
    for standard in (DUG, THREE):
        now = judge(standard, made(*struck_s), own_digs_s=digs_s)
        then = judge(standard, made(*sooner), own_digs_s=digs_s)
        assert then.in_time >= now.in_time
        assert (now.word == "met") <= (then.word == "met")
    assert judge(DUG, made(*struck_s), own_digs_s=digs_s).word != "met"
