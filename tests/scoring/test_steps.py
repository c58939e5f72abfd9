"""The steps: when each belongs to a run, in which order, and what ticks say of them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blindfield.model.errors import ConfigError
from blindfield.model.events import Event
from blindfield.scoring.review import ORDER_SLACK_S, Review, review
from blindfield.scoring.steps import (
    PHASES,
    Circumstances,
    all_steps,
    belongs,
    pairs,
    read_steps,
    step_named,
)
from blindfield.scoring.ticks import (
    CALLED_WITHIN_S,
    PHASE_BEGUN,
    VALUES,
    Struck,
    Tick,
    phases_of,
    right_and_seen,
    ticks_of,
)
from support import runs

PAIR = Circumstances(targets=2)
DIG = Circumstances(targets=2, work="search and dig", switch_off=True)
STRIKES = (Struck("Larch", 192.0), Struck("Gully", 340.0))


def said(step: str, at_s: float | None = None, /, **data: Any) -> Event:
    return runs.host("tick", at_s, "person", step=step, **data)


def at(event: Event) -> float | None:
    """Run time of an event of `support.runs`."""
    return None if event.host_s is None else event.host_s.low - runs.ZERO_HOST_S


def ticked(*events: Event) -> dict[tuple[str, str | None], Tick]:
    return {(one.step, one.target): one for one in ticks_of(events, at, STRIKES)}


# The list of steps


def test_the_steps_go_through_a_search_in_the_order_of_its_phases() -> None:
    phases = [step.phase for step in all_steps().values()]
    assert set(phases) == set(PHASES)
    inner = [PHASES.index(one) for one in phases if one not in ("throughout", "after the search")]
    assert inner == sorted(inner)
    assert len(all_steps()) == 32


@pytest.mark.parametrize(
    ("name", "circumstances", "expected"),
    [
        ("said_aloud", PAIR, True),
        ("still_over_find", PAIR, True),
        ("still_over_find", Circumstances(targets=1), False),
        ("still_over_find", Circumstances(targets=2, marking=False), False),
        ("place_noted", Circumstances(targets=2, marking=False), True),
        ("airway_first", PAIR, False),
        ("airway_first", DIG, True),
        ("found_one_off", DIG, True),
        ("found_one_off", Circumstances(targets=2, work="search and dig"), False),
        ("found_one_off", Circumstances(targets=2, switch_off=True), False),
        ("backup_method", PAIR, None),
        ("strike_called", Circumstances(targets=1, work="dig only"), False),
        ("airway_first", Circumstances(targets=1, work="dig only"), True),
    ],
)
def test_a_step_belongs_to_a_run_or_not(
    name: str, circumstances: Circumstances, expected: bool | None
) -> None:
    assert belongs(all_steps()[name], circumstances) is expected


@pytest.mark.parametrize(
    "typed", ["strike_called", "Strike called", "strike-called", "STRIKE CALLED"]
)
def test_a_step_is_known_however_it_is_typed(typed: str) -> None:
    assert step_named(typed).name == "strike_called"


def test_a_title_names_its_step_too() -> None:
    assert step_named("Airway first").name == "airway_first"
    assert step_named("shovelling from downhill").name == "shovel_from_downhill"


def test_an_unknown_step_names_the_nearest() -> None:
    with pytest.raises(ConfigError, match="Did you mean probe_left"):
        step_named("probe_lef")


def test_steps_that_must_come_before_themselves_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "steps.toml"
    step = '[[step]]\nname = "{}"\ntitle = "t"\nlook = "l"\nphase = "digging"\nper = "run"\n'
    path.write_text(
        step.format("one") + 'before = ["two"]\n' + step.format("two") + 'after = ["three"]\n'
        'before = ["three"]\n' + step.format("three")
    )
    with pytest.raises(ConfigError, match=r"line 15: .*two would have to come before itself"):
        read_steps(path)


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ('phase = "dig"', 'Did you mean "digging"'),
        ('per = "victim"', 'Write one of "run", "target"'),
        ('befor = ["x"]', "Did you mean before"),
        ("plus = 1", "Write true or false"),
    ],
)
def test_a_mistake_in_the_file_is_pointed_at(tmp_path: Path, line: str, told: str) -> None:
    lines = {"name": '"one"', "title": '"t"', "look": '"l"', "phase": '"digging"', "per": '"run"'}
    lines.pop(line.split()[0], None)
    body = [f"{key} = {value}" for key, value in lines.items()]
    path = tmp_path / "steps.toml"
    path.write_text("\n".join(["[[step]]", *body, line]) + "\n")
    with pytest.raises(ConfigError) as error:
        read_steps(path)
    assert f"line {len(body) + 2}:" in str(error.value)
    assert told in str(error.value)


# Ticks


def test_the_last_word_on_a_step_holds_with_the_first_time_it_was_right() -> None:
    found = ticked(
        said("own_to_search", 4.0, value="missed"),
        said("own_to_search", 9.0),
        said("own_to_search", 30.0),
    )
    (tick,) = found.values()
    assert (tick.value, tick.run_s) == ("done", 9.0)
    (tick,) = ticked(said("own_to_search", 4.0), said("own_to_search", 9.0, value="no")).values()
    assert (tick.value, tick.right) == ("missed", False)


def test_a_tick_without_a_target_is_about_the_one_searched_for_or_just_found() -> None:
    found = ticked(
        said("distances_called", 100.0),
        said("distances_called", 250.0),
        said("strike_called", 192.0 + CALLED_WITHIN_S - 1),
        said("probe_perpendicular", 192.0 + CALLED_WITHIN_S + 1),
        said("probe_left", 210.0),
        said("bracketed", 100.0, target="#2"),
        said("spiral", 100.0, target="Knoll"),
        said("at_the_surface", 400.0),
    )
    assert {key: tick.run_s for key, tick in found.items()} == {
        ("distances_called", "Larch"): 100.0,
        ("distances_called", "Gully"): 250.0,
        ("strike_called", "Larch"): 206.0,
        ("probe_perpendicular", "Gully"): 208.0,
        ("probe_left", "Larch"): 210.0,
        ("bracketed", "Gully"): 100.0,
        ("spiral", "Knoll"): 100.0,
        ("at_the_surface", None): 400.0,
    }


def test_afterwards_the_time_of_the_entry_is_not_the_time_of_the_step() -> None:
    found = ticked(
        said("probe_left", 900.0, means="afterwards", by="searcher"),
        said("group_check", 901.0, means="afterwards", run_s=361.0),
    )
    left, check = found["probe_left", None], found["group_check", None]
    assert (left.run_s, left.self_report) == (None, True)
    assert (check.run_s, check.self_report) == (361.0, False)


def test_what_is_no_step_is_no_tick() -> None:
    begun = said(PHASE_BEGUN, value={"leg": 2, "phase": "fine search"}, run_s=81.5)
    events = [begun, said("a step of a later version"), said("spiral", value="not applicable")]
    assert right_and_seen(events) == (0, 0)
    assert [(one.leg, one.phase, one.run_s) for one in phases_of(events)] == [
        (2, "fine search", 81.5)
    ]


def test_right_and_seen_leave_out_pluses() -> None:
    events = [said("spiral", 1.0), said("probe_left", 2.0, value="missed"), said("backed_up", 3.0)]
    assert right_and_seen([*events, said("gear_together", value="put right")]) == (2, 3)


# Held against the steps that belong to the run


def reviewed(*ticks: Tick, circumstances: Circumstances = PAIR) -> Review:
    return review(circumstances, ticks, ("Larch", "Gully"))


def states(found: Review, step: str) -> dict[str | None, str]:
    return {row.target: row.state for row in found.of(step)}


def test_what_nobody_saw_is_not_seen_and_never_right() -> None:
    found = reviewed()
    assert {row.state for row in found.rows} == {"not seen"}
    assert found.seen == 0
    assert set(found.unseen) == set(PHASES) - {"digging"}


def test_a_step_per_target_is_held_against_each() -> None:
    found = reviewed(Tick(step="probe_left", target="Gully", run_s=350.0))
    assert states(found, "probe_left") == {"Larch": "not seen", "Gully": "right"}


def test_without_target_and_time_it_was_said_of_each() -> None:
    found = reviewed(Tick(step="probe_left", value="missed"))
    assert states(found, "probe_left") == {"Larch": "missed", "Gully": "missed"}


def test_a_timed_tick_of_nobody_known_stands_by_itself() -> None:
    found = reviewed(Tick(step="probe_left", run_s=3.0))
    assert states(found, "probe_left") == {"Larch": "not seen", "Gully": "not seen", None: "right"}


def test_what_it_need_not_come_to_is_listed_only_where_it_was_ticked() -> None:
    assert reviewed().of("backup_method") == ()
    ticks = Tick(step="backup_method", value="missed"), Tick(step="back_to_noted_place")
    found = reviewed(*ticks)
    assert states(found, "backup_method") == {None: "missed"}
    assert states(found, "back_to_noted_place") == {None: "right"}


def test_a_step_that_came_too_late_is_a_fault() -> None:
    found = reviewed(
        Tick(step="strike_called", target="Larch", run_s=190.0),
        Tick(step="bracketed", target="Larch", run_s=195.0),
        Tick(step="bracketed", target="Gully", run_s=330.0),
        Tick(step="probe_left", target="Larch", run_s=188.5),
    )
    assert [(one.late.step, one.early.step, one.late.target) for one in found.faults] == [
        ("bracketed", "strike_called", "Larch")
    ]


def test_between_two_targets_there_is_no_order() -> None:
    assert not reviewed(
        Tick(step="strike_called", target="Larch", run_s=190.0),
        Tick(step="bracketed", target="Gully", run_s=330.0),
    ).faults


def test_thumbs_have_some_slack_and_unknown_times_no_order() -> None:
    late_s = 190.0 + ORDER_SLACK_S
    early = Tick(step="strike_called", target="Larch", run_s=190.0)
    assert not reviewed(early, Tick(step="bracketed", target="Larch", run_s=late_s)).faults
    assert reviewed(early, Tick(step="bracketed", target="Larch", run_s=late_s + 0.1)).faults
    assert not reviewed(early, Tick(step="bracketed", target="Larch")).faults


def test_a_step_of_the_run_is_held_against_every_target() -> None:
    called = [
        Tick(step="strike_called", target=t, run_s=s)
        for t, s in (("Larch", 192.0), ("Gully", 340.0))
    ]
    assert reviewed(*called, Tick(step="back_to_send", run_s=250.0)).faults
    assert not reviewed(*called, Tick(step="back_to_send", run_s=350.0)).faults
    assert reviewed(*called, Tick(step="own_to_search", run_s=250.0)).faults
    assert not reviewed(*called, Tick(step="own_to_search", run_s=20.0)).faults


def test_stopped_backed_up_and_done_right_is_a_plus_and_no_fault() -> None:
    found = reviewed(
        Tick(step="strike_called", target="Larch", run_s=190.0),
        Tick(step="bracketed", target="Larch", run_s=240.0, value="put right"),
    )
    assert not found.faults
    assert [one.step for one in found.pluses] == ["bracketed"]
    assert states(found, "bracketed")["Larch"] == "put right"
    assert found.count("right", "put right") == 2


def test_phases_that_only_the_searcher_reports_are_named() -> None:
    found = reviewed(
        Tick(step="own_to_search", self_report=True),
        Tick(step="place_noted", self_report=True),
        Tick(step="strip_width_kept"),
    )
    assert found.self_only == ("before the search",)
    assert "signal search" not in found.unseen


TICKS = st.builds(
    Tick,
    step=st.sampled_from(sorted(all_steps())),
    value=st.sampled_from(VALUES),
    target=st.sampled_from([None, "Larch", "Gully", "Knoll"]),
    run_s=st.none() | st.floats(0, 900),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(TICKS, max_size=12))
def test_whatever_is_ticked_unseen_stays_unseen_and_times_in_order_are_no_fault(
    ticks: list[Tick],
) -> None:
    unique = list({(one.step, one.target): one for one in ticks}.values())
    found = reviewed(*unique, circumstances=DIG)
    for row in found.rows:
        assert (row.state == "not seen") == (row.tick is None)
    for fault in found.faults:
        assert (fault.late.step, fault.early.step) in pairs(all_steps().values())
        assert fault.late.run_s is not None
        assert fault.early.run_s is not None
        assert fault.late.run_s > fault.early.run_s
    seen_phases = {row.step.phase for row in found.rows if row.tick is not None}
    assert not seen_phases & set(found.unseen) - {"throughout"}
