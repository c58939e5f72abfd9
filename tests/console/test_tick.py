"""`tick`: an observer beside a run, and whoever says afterwards what was seen."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

from blindfield.conduct.owner import Owner
from blindfield.console import tick
from blindfield.field.starter import starter_field_text
from blindfield.logbook.book import Logbook
from blindfield.model.errors import BlindfieldError, NotReady
from blindfield.model.events import Event
from blindfield.scoring.steps import all_steps
from support.drill_fields import wide_field
from support.in_process import InProcess
from support.one_command import typed
from support.owners import serving
from support.practised import KEY, Practised, field_in

Handlers = dict[str, Callable[[Mapping[str, Any]], Awaitable[Mapping[str, Any]]]]


@pytest.fixture
def handlers(monkeypatch: pytest.MonkeyPatch) -> Handlers:
    """What the run answers to, as other processes reach it through the owner's port."""
    known: Handlers = {}
    monkeypatch.setattr(Owner, "handle", lambda _, name, handler: known.update({name: handler}))
    return known


@pytest.fixture(scope="module")
def one_made(tmp_path_factory: pytest.TempPathFactory) -> Practised:
    made = Practised(tmp_path_factory.mktemp("one"), None)  # type: ignore[arg-type]
    made.run([120.0, 200.0])
    return made


@pytest.fixture
def bench(tmp_path: Path, capsys: pytest.CaptureFixture[str], one_made: Practised) -> Practised:
    """One run: struck at 2:00 and 5:20."""
    bench = Practised(tmp_path, capsys)
    bench.like(one_made)
    return bench


def events_of(bench: Practised) -> list[Event]:
    with Logbook.open(field_in(bench.folder).logbook_path, field_key=KEY) as book:
        return book.events_of(book.find_run(None).run_id)


def ticks(events: list[Event]) -> list[dict[str, Any]]:
    return [event.data for event in events if event.kind == "tick"]


def told(bench: Practised, *words: str) -> str:
    status, out, error = bench.command(tick, *words)
    assert (status, error) == (0, "")
    return " ".join(out.split())


def data(bench: Practised, *words: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(told(bench, *words, "--json"))
    return found


def struck(bench: Practised) -> list[str]:
    return [event.data["device"] for event in events_of(bench) if event.kind == "strike"]


# Beside a run


def test_an_observer_ticks_a_run_under_way(here: InProcess, handlers: Handlers) -> None:
    said = []

    async def observe() -> None:
        await here.until_sending()
        first, second = here.in_play("pair", 3)
        resting = next(name for name in here.targets if name not in (first, second))
        for name in (first, second):
            await asyncio.sleep(60)
            here.sim.probe(name)
            await asyncio.sleep(3)
            request = {"step": "strike called", "author": "Bo", "by": "observer"}
            said.append((await handlers["tick"](request))["said"])
            if name == first:
                request = {"step": "spiral", "target": resting, "value": "missed"}
                said.append((await handlers["tick"](request))["said"])

    assert here.run("--drill", "pair", "--seed", "3", script=observe)[0] == 0
    assert said[0] == "Ticked: Strike called."
    assert said[1].startswith("Ticked as missed: Even spiral from the strongest signal (")
    with Logbook.open(here.place.logbook_path, field_key=None) as book:
        events = book.events_of(book.find_run(None).run_id)
    assert [event.data["step"] for event in events if event.kind == "tick"][:2] == [
        "strike_called",
        "spiral",
    ]
    at_s = [event.host_s.low for event in events if event.kind == "tick" and event.host_s]
    assert at_s == sorted(at_s)

    async def late() -> None:
        with pytest.raises(NotReady, match="afterwards with --run RUN"):
            await handlers["tick"]({"step": "group_check"})

    here.let(late)


def test_steps_before_the_start_can_be_ticked_once_it_is_drawn(
    here: InProcess, handlers: Handlers
) -> None:
    answers: list[str] = []

    async def observe() -> None:
        while "tick" not in handlers:
            await asyncio.sleep(0.01)
        while not answers:
            try:
                answers.append((await handlers["tick"]({"step": "safe_to_enter"}))["said"])
            except NotReady:
                await asyncio.sleep(0.01)
        assert here.bursts() == 0
        await here.until_sending()
        await handlers["tell"]({"word": "stop"})

    here.run("--drill", "pair", "--seed", "3", script=observe)
    assert answers == ["Ticked: Safe to enter."]


def test_what_is_no_step_or_no_target_is_refused_and_the_run_goes_on(
    here: InProcess, handlers: Handlers
) -> None:
    refused: list[str] = []

    async def observe() -> None:
        await here.until_sending()
        for request in ({"step": "dance"}, {"step": "spiral", "target": "elsewhere"}, {}):
            try:
                await handlers["tick"](request)
            except BlindfieldError as error:
                refused.append(str(error))
        assert (await handlers["status"]({}))["phase"] == "running"
        await handlers["tell"]({"word": "stop"})

    here.run("--drill", "pair", "--seed", "3", script=observe)
    assert len(refused) == 3
    assert "no step 'dance'" in refused[0]
    assert 'no target named "elsewhere"' in refused[1]


def test_the_command_speaks_to_whoever_conducts(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "field.toml").write_text(starter_field_text(wide_field(tmp_path)))
    heard: list[Mapping[str, Any]] = []

    async def answer(request: Mapping[str, Any]) -> Mapping[str, Any]:
        heard.append(request)
        return {"said": f"Ticked: {request['step']}."}

    async def test(owner: Owner) -> None:
        owner.handle("tick", answer)
        words = ("spiral", "probe_left", "--by", "Bo", "--self", "--put-right", "--target", "2")
        out = await asyncio.to_thread(typed, tick, capsys, *words, "--field", str(tmp_path))
        assert out == (0, "Ticked: spiral.\nTicked: probe_left.\n", "")

    serving(tmp_path, test)
    assert heard == [
        {"step": name, "target": "#2", "value": "put right", "author": "Bo", "by": "searcher"}
        for name in ("spiral", "probe_left")
    ]


# After a run


def test_afterwards_the_latest_run_is_meant_and_named(bench: Practised) -> None:
    out = told(bench, "probe_left", "own_to_search", "--by", "Bo")
    assert out.startswith("Ticked: Probe left in. (run")
    assert [
        (one["step"], one["by"], one["author"], one["means"]) for one in ticks(events_of(bench))
    ] == [
        ("probe_left", "observer", "Bo", "afterwards"),
        ("own_to_search", "observer", "Bo", "afterwards"),
    ]


def test_the_searchers_own_word_is_a_self_report(bench: Practised) -> None:
    out = told(bench, "probe_left", "--self", "--by", "Ana")
    assert "Ticked: Probe left in, self-report." in out
    assert "By the searcher's own report alone: at the find." in out
    assert "[self-report]" in told(bench)
    told(bench, "spiral", "--self")
    assert ticks(events_of(bench))[-1]["author"] == "Ana"  # who searched in that run


def test_a_soloist_is_told_which_phases_nobody_saw(bench: Practised) -> None:
    assert "Nobody saw: before the search, signal search, coarse search" in told(bench)
    seen = data(bench, "distances_called")
    assert "coarse search" not in seen["phases_unseen"]
    assert "fine search" in seen["phases_unseen"]
    assert (seen["right"], seen["seen"]) == (2, 2)


def test_a_tick_may_name_target_and_time(bench: Practised) -> None:
    first, second = struck(bench)
    told(bench, "strike_called", "--target", second.upper(), "--at", "5:21")
    told(bench, "bracketed", "--target", "1", "--missed")
    rows = {(one["step"], one["target"]): one["state"] for one in data(bench)["steps"]}
    assert rows["strike_called", second] == "right"
    assert rows["strike_called", first] == "not seen"
    assert rows["bracketed", first] == "missed"
    assert "(" + second + ") at 5:21" in told(bench)


def test_put_right_is_praised(bench: Practised) -> None:
    assert "Well done: Not" not in told(bench)
    told(bench, "not_rotated", "--target", "1", "--put-right")
    assert "Well done: Transceiver not rotated" in told(bench)


def test_the_list_holds_every_step_and_needs_no_field(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    status, out, _ = typed(tick, capsys, "--list")
    assert status == 0
    assert all(f"  {name} " in out for name in all_steps())
    status, out, _ = typed(tick, capsys, "--list", "--json")
    assert [one["name"] for one in json.loads(out)] == list(all_steps())


WRONG = (
    (("probe_lef",), "Did you mean probe_left?"),
    (("probe_left", "--target", "Elsewhere"), "There were:"),
    (("probe_left", "--at", "late"), "no time of a run"),
    (("--at", "3:20"), "--at goes with a step"),
    (("probe_left", "--from-recording"), "goes without a step"),
    (("--from-recording",), "nobody can press Enter here"),
    (("probe_left", "--run", "zzz"), "no run begins with"),
)


def test_what_cannot_be_meant_is_refused_and_keeps_nothing(bench: Practised) -> None:
    for words, why in WRONG:
        status, _, error = bench.command(tick, *words)
        assert status == 1
        assert why in error
    assert ticks(events_of(bench)) == []


def test_a_run_left_open_is_not_ticked_from_here(bench: Practised) -> None:
    closed = data(bench)["run"]
    bench.run([100.0, 100.0], is_open=True)
    for words in (("probe_left",), ("probe_left", "--run", closed), ()):
        status, out, error = bench.command(tick, *words)
        assert (status, out) == (1, "")
        assert "a run is open on this field" in error
