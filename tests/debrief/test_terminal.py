"""The debrief as a terminal shows it, and as JSON."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace
from typing import Any

import pytest
from rich.cells import cell_len
from rich.console import Console

from blindfield.debrief import words
from blindfield.debrief.terminal import render, to_json
from blindfield.debrief.timeline import build_timeline
from blindfield.debrief.values import Timeline
from blindfield.model.events import Event
from support import runs

# The words of the code that a user never meets.
NEVER = re.compile(r"\b(lease|conductor|digest|keying|as-built|opening|revision|cue|on_word)\b")


def timeline(events: list[Event] | None = None, **summary: Any) -> Timeline:
    events = runs.good_run() if events is None else events
    return build_timeline(runs.record(runs.summary(**summary)), events)


def shown(
    told: Timeline, width: int = 80, ascii_only: bool = False, all_targets: bool = True
) -> str:
    out = io.StringIO()
    console = Console(file=out, width=width, color_system=None)
    console.print(render(told, ascii_only=ascii_only, all_targets=all_targets))
    return out.getvalue()


def coloured(told: Timeline) -> str:
    out = io.StringIO()
    console = Console(file=out, width=80, force_terminal=True, color_system="standard")
    console.print(render(told, all_targets=True))
    return out.getvalue()


def not_met() -> Timeline:
    events = [event for event in runs.good_run() if event.data.get("device") != "Gully"]
    return timeline(events, outcome="not_met", find_run_s=())


@pytest.mark.parametrize("width", [80, 100, 120])
@pytest.mark.parametrize("ascii_only", [False, True])
def test_it_fits_the_width(width: int, ascii_only: bool) -> None:
    lines = shown(timeline(), width, ascii_only).splitlines()
    assert max(map(cell_len, lines)) <= width
    assert len(lines) > 40


def test_the_verdict_comes_first_and_in_words() -> None:
    assert (
        "Met. 2 of 2 found within the limit of 15:00; the last at 5:40.6."
        in shown(timeline()).splitlines()[1]
    )
    assert "Not met. 1 of 2 found within the limit of 15:00" in shown(not_met()).splitlines()[1]


@pytest.mark.parametrize("word", words.VERDICTS.values())
def test_every_outcome_is_told_without_colour(word: str) -> None:
    outcome = next(key for key, value in words.VERDICTS.items() if value == word)
    told = timeline(outcome=outcome)
    assert shown(told).splitlines()[1].startswith(f"│ {word}. ")


def test_splits_are_cut_off_at_the_tenth() -> None:
    text = shown(timeline())
    assert re.search(r"1 +Larch +3:12\.4 +3:12\.4 from start +sharp hit", text)
    assert re.search(r"2 +Gully +5:40\.6 +2:28\.1 from Larch +slow push", text)


def lane(text: str, name: str) -> str:
    (line,) = re.findall(rf"^  [●○#o] {name} +(.*)$", text.split("What happened when")[1], re.M)[:1]
    return str(line).rstrip()


def test_the_drawing_shows_who_sent_and_when() -> None:
    text = shown(timeline())
    assert set(lane(text, "Larch")) == {"━"}
    assert set(lane(text, "Fir")) == {"·"}
    rests, sends = lane(text, "Gully").count("·"), lane(text, "Gully").count("━")
    assert rests / (rests + sends) == pytest.approx(193.06 / 340.66, abs=0.03)
    above = text.split("What happened when")[1].splitlines()
    marks = above[next(i for i, line in enumerate(above) if "● Larch" in line) - 1]
    assert marks.strip() == "▼▽"


def test_overtime_shows_the_limit_in_the_drawing() -> None:
    late = timeline(
        [runs.drawn(time_limit_s=200.0), *runs.good_run()[1:]],
        outcome="not_met",
        time_limit_s=200.0,
    )
    text = shown(late)
    assert "1 of 2 found within the limit of 3:20, 1 more in overtime" in text
    assert "┊ time limit" in text
    assert "┊" in lane(text, "Larch")
    assert "time limit" not in shown(timeline()).split("Where they were")[0].split("Splits")[1]


def test_the_plan_shows_every_target_and_the_start_once() -> None:
    text = shown(timeline()).split("Where they were")[1].split("What was planned")[0]
    plan = [line[:32] for line in text.splitlines()]
    signs = re.findall(r"[●○]\d|S", "".join(plan))
    assert sorted(signs) == sorted(["○1", "●2", "○3", "●4", "○5", "○6", "S"])
    row = {sign: next(i for i, line in enumerate(plan) if sign in line) for sign in signs}
    assert row["○5"] <= row["●2"] < row["○1"] < row["●4"] < row["○3"] < row["○6"] < row["S"]


def test_short_names_stand_in_the_plan_themselves() -> None:
    scenario = runs.scenario()
    for number, one in enumerate(scenario["targets"], 11):
        one["name"] = str(number)
    text = shown(timeline([runs.drawn(targets=scenario["targets"]), *runs.good_run()[1:]]))
    listed = text.split("Where they were")[1].split("What was planned")[0]
    for number in range(11, 17):
        assert len(re.findall(rf"[●○]{number}", listed)) == 2
    assert "not in play" in listed


def test_targets_in_one_place_do_not_hide_each_other() -> None:
    scenario = runs.scenario()
    for one in scenario["targets"]:
        one["x_m"], one["y_m"] = 10.0, 10.0
    events = [runs.drawn(targets=scenario["targets"]), *runs.good_run()[1:]]
    text = shown(timeline(events)).split("Where they were")[1].split("What was planned")[0]
    signs = re.findall(r"[●○]\d", "".join(line[:40] for line in text.splitlines()))
    assert len(set(signs)) == 6


def test_targets_of_other_runs_stay_hidden_unless_asked_for() -> None:
    text = shown(timeline(), all_targets=False).split("What happened when")[1]
    text = text.split("To know about this run")[0]
    concerned = {"Larch", "Gully", "Knoll"}  # in play, or struck
    for target in timeline().targets:
        named = re.search(rf"\b{target.name}\b", text) is not None
        assert named == (target.name in concerned), target.name
    assert "3 more lie in this field, for other runs" in text
    assert "more lie" not in shown(timeline())


def test_what_must_be_said_is_said() -> None:
    text = re.sub(r"\s+", " ", shown(timeline()))
    assert words.UNPROVEN in text
    assert words.STRIKE_ONLY in text
    assert "--drill two_signals --seed 20260117 --minutes 15" in text
    assert "Fir could not be heard from 1:28.0 on, for 48 s." in text
    digging = shown(timeline([runs.drawn(end_on="dug_out"), *runs.good_run()[1:]]))
    assert words.UNPROVEN in digging
    assert "ended on the strike" not in digging


def test_a_count_that_differs_from_the_close_is_told() -> None:
    assert "counted as found when the run was closed" not in shown(timeline())
    assert "1 counted as found when the run was closed, 2 with all" in shown(
        timeline(find_run_s=(runs.summary().find_run_s[0],))
    )


def test_only_the_users_words_are_used() -> None:
    for told in (timeline(), not_met(), timeline(outcome="void")):
        assert NEVER.findall(shown(told).lower()) == []


def test_colour_only_adds_to_the_words() -> None:
    text = coloured(timeline())
    assert "\x1b[" in text
    assert re.sub(r"\x1b\[[\d;]*m", "", text) == shown(timeline())


def test_without_unicode_not_one_other_character_is_printed() -> None:
    named = replace(timeline(), field_name="Lärchenmulde")
    text = shown(named, ascii_only=True)
    assert text.isascii()
    assert "L?rchenmulde" in text
    assert "Lärchenmulde" in shown(named)


def test_names_are_shown_as_they_are_whatever_is_in_them() -> None:
    odd = "[red]Larch[/red]"
    scenario = runs.scenario()
    next(one for one in scenario["targets"] if one["name"] == "Larch")["name"] = odd
    events = [runs.drawn(targets=scenario["targets"]), *runs.good_run()[1:]]
    assert odd in shown(timeline(events), 120)


def test_an_open_run_stays_blind() -> None:
    told = build_timeline(runs.record(is_open=True), runs.good_run())
    text = shown(told) + json.dumps(to_json(told))
    assert words.CLOSED_TO_VIEW in text
    for secret in ("Gully", "Knoll", "20260117", "3:12", "192"):
        assert secret not in text


def test_a_run_that_did_not_start_says_why() -> None:
    events = [runs.drawn(), runs.host("start_cancelled", None, reason="Fir did not answer.")]
    text = shown(timeline(events, outcome="interrupted", started_utc=None, find_run_s=()))
    assert "The run did not start. Reason: Fir did not answer." in text
    assert "Splits" not in text


def test_json_holds_every_time_with_its_bounds() -> None:
    data = json.loads(json.dumps(to_json(timeline())))
    assert data["outcome"] == "met"
    assert [find["target"] for find in data["finds"]] == ["Larch", "Gully"]
    split = data["finds"][1]["split_s"]
    assert split["low"] < split["best"] < split["high"]
    assert split["best"] == pytest.approx(148.18)
    larch = next(one for one in data["targets"] if one["name"] == "Larch")
    assert [strike["standing"] for strike in larch["strikes"]] == ["find", "repeat"]
    assert words.UNPROVEN in data["cautions"]
    assert data["seed"] == 20260117
