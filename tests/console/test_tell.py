"""`tell second|stop|done`: what a person says to a run under way."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

from blindfield.conduct.owner import Owner
from blindfield.console import tell
from blindfield.field.starter import starter_field_text
from blindfield.logbook.book import Logbook
from blindfield.model.errors import NotReady
from blindfield.model.run_summary import RunSummary
from support.drill_fields import wide_field
from support.in_process import InProcess
from support.one_command import typed
from support.owners import serving

Handlers = dict[str, Callable[[Mapping[str, Any]], Awaitable[Mapping[str, Any]]]]


@pytest.fixture
def handlers(monkeypatch: pytest.MonkeyPatch) -> Handlers:
    """What the run answers to, as other processes reach it through the owner's port."""
    known: Handlers = {}
    monkeypatch.setattr(Owner, "handle", lambda _, name, handler: known.update({name: handler}))
    return known


async def said(handlers: Handlers, word: str) -> str:
    answer = await handlers["tell"]({"word": word})
    return str(answer["said"])


def last(here: InProcess) -> RunSummary:
    with Logbook.open(here.place.logbook_path, field_key=None) as book:
        done = book.find_run(None).summary
    assert done is not None
    return done


def run_of(here: InProcess, kind: str, script: Any) -> tuple[int, str, str]:
    return here.run("--drill", kind, "--seed", "3", "--minutes", "10", script=script)


def test_stop_ends_the_run_in_silence(here: InProcess, handlers: Handlers) -> None:
    async def stop() -> None:
        await here.until_sending()
        assert "ends" in await said(handlers, "stop")

    assert run_of(here, "pair", stop)[0] == 0
    assert last(here).outcome == "stopped"
    assert here.silent()


def test_second_brings_the_second_signal(here: InProcess, handlers: Handlers) -> None:
    sending: list[int] = []

    async def instruct() -> None:
        await here.until_sending()
        await asyncio.sleep(20)
        sending.append(sum(map(bool, map(here.sim.carrier_log, here.targets))))
        await said(handlers, "second")
        await asyncio.sleep(5)
        sending.append(sum(map(bool, map(here.sim.carrier_log, here.targets))))
        await said(handlers, "stop")

    run_of(here, "surprise", instruct)
    assert sending == [1, 2]


@pytest.mark.parametrize("kind", ["pair", "staggered", "surprise", "one_only", "dig_only"])
def test_the_answer_to_second_tells_nothing_of_the_kind(
    here: InProcess, handlers: Handlers, kind: str
) -> None:
    answers = []

    async def instruct() -> None:
        while "tell" not in handlers or (await handlers["status"]({}))["phase"] != "running":
            await asyncio.sleep(0.5)
        await asyncio.sleep(5)
        answers.append(await said(handlers, "second"))
        await said(handlers, "stop")

    run_of(here, kind, instruct)
    assert answers == ["Said. If this problem waits for the word, the second signal comes now."]


def test_done_ends_a_run_whose_number_is_not_told(here: InProcess, handlers: Handlers) -> None:
    screen, status = "", {}

    async def clear() -> None:
        nonlocal screen, status
        await here.until_sending()
        await asyncio.sleep(10)
        here.sim.probe(here.in_play("one_only", 3)[0])
        await asyncio.sleep(10)
        screen, status = here.seen(), dict(await handlers["status"]({}))
        assert "Done" in await said(handlers, "done")

    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("FORCE_COLOR", "1")
        run_of(here, "one_only", clear)
    assert status == {"phase": "running", "found": 1, "to_find": None}
    assert "found 1" in screen
    assert "Found 1." in screen
    assert "1 of 1" not in screen
    assert last(here).outcome == "met"


def test_done_is_refused_where_a_run_ends_by_itself(here: InProcess, handlers: Handlers) -> None:
    refused: list[str] = []

    async def clear() -> None:
        await here.until_sending()
        for word in ("done", "dance"):
            try:
                await said(handlers, word)
            except NotReady as error:
                refused.append(str(error))
        await said(handlers, "stop")

    run_of(here, "pair", clear)
    assert "ends by itself, at the last find" in refused[0]
    assert "second, stop, done" in refused[1]


def test_before_the_start_only_stop_is_taken(here: InProcess, handlers: Handlers) -> None:
    refused: list[str] = []

    async def hurry() -> None:
        while "tell" not in handlers:
            await asyncio.sleep(0.01)
        for word in ("second", "done"):
            try:
                await said(handlers, word)
            except NotReady as error:
                refused.append(str(error))

    async def finish() -> None:
        await hurry()
        await here.until_sending()
        await said(handlers, "stop")

    run_of(here, "surprise", finish)
    assert len(refused) == 2
    assert all("has not begun" in text for text in refused)


def test_dig_only_is_timed_from_the_start_to_done(here: InProcess, handlers: Handlers) -> None:
    async def dig() -> None:
        while "tell" not in handlers or (await handlers["status"]({}))["phase"] != "running":
            await asyncio.sleep(0.5)
        await asyncio.sleep(100)
        assert here.bursts() == 0
        await said(handlers, "done")

    status, out, _ = run_of(here, "dig_only", dig)
    assert status == 0
    assert "Dig out the pack" in out
    done = last(here)
    assert (done.outcome, done.targets, done.found) == ("met", 1, 1)


def test_digging_needs_no_target_that_answers(here: InProcess, handlers: Handlers) -> None:
    async def cut() -> None:
        for name in here.targets:
            here.sim.cut_link(name)

    here.let(cut)

    async def dig() -> None:
        while "tell" not in handlers or (await handlers["status"]({}))["phase"] != "running":
            await asyncio.sleep(0.5)
        await asyncio.sleep(30)
        await said(handlers, "done")

    status, out, err = run_of(here, "dig_only", dig)
    assert status == 0, err
    assert "No target answers." in out
    assert last(here).outcome == "met"


# The command


def test_without_a_run_it_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "field.toml").write_text(starter_field_text(wide_field(tmp_path)))
    status, _, err = typed(tell, capsys, "stop", "--field", str(tmp_path))
    assert status == 1
    assert "no run is under way" in err
    with Owner.acquire(tmp_path):  # held by a command that conducts no run
        assert typed(tell, capsys, "stop", "--field", str(tmp_path))[0] == 1


def test_it_speaks_to_whoever_conducts_through_their_port(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "field.toml").write_text(starter_field_text(wide_field(tmp_path)))
    heard: list[str] = []

    async def answer(request: Mapping[str, Any]) -> Mapping[str, Any]:
        heard.append(request["word"])
        if request["word"] == "done":
            raise NotReady("this run ends by itself, at the last find.")
        return {"said": "The run ends."}

    async def test(owner: Owner) -> None:
        owner.handle("tell", answer)
        field = ("--field", str(tmp_path))
        for words, expected in (
            (("stop",), (0, "The run ends.\n", "")),
            (("stop", "--json"), (0, '{"said": "The run ends."}\n', "")),
            (("done",), (1, "", "this run ends by itself, at the last find.")),
        ):
            assert await asyncio.to_thread(typed, tell, capsys, *words, *field) == expected

    serving(tmp_path, test)
    assert heard == ["stop", "stop", "done"]
