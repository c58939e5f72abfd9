"""`correct`: what people say of a run afterwards. Nothing is edited: the result is made anew."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path
from typing import Any

import pytest

from blindfield.console import correct, debrief, progress
from blindfield.console.summing import rebuild, summarise
from blindfield.logbook.book import Logbook
from blindfield.model.errors import NotReady
from blindfield.model.events import Event
from blindfield.model.ids import run_id_text
from blindfield.model.run_summary import RunSummary
from support.in_process import InProcess
from support.one_command import typed
from support.practised import KEY, PLACES, Practised, field_in


@pytest.fixture(scope="module")
def one_made(tmp_path_factory: pytest.TempPathFactory) -> Practised:
    made = Practised(tmp_path_factory.mktemp("one"), None)  # type: ignore[arg-type]
    made.run([120.0, 200.0])
    return made


@pytest.fixture
def bare(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Practised:
    return Practised(tmp_path, capsys)


@pytest.fixture
def bench(bare: Practised, one_made: Practised) -> Practised:
    """One run: struck at 2:00 and 5:20, met."""
    bare.like(one_made)
    return bare


def book(bench: Practised) -> Logbook:
    return Logbook.open(field_in(bench.folder).logbook_path, field_key=KEY)


def kept(bench: Practised) -> tuple[RunSummary, list[Event]]:
    """The latest run as it is kept."""
    with book(bench) as logbook:
        record = logbook.find_run(None)
        assert record.summary is not None
        return record.summary, logbook.events_of(record.run_id)


def said(bench: Practised, *words: str) -> dict[str, Any]:
    status, out, error = bench.command(correct, *words, "--json")
    assert (status, error) == (0, "")
    told: dict[str, Any] = json.loads(out)
    return told


def refused(bench: Practised, *words: str) -> str:
    before = kept(bench)
    status, out, error = bench.command(correct, *words)
    assert (status, out) == (1, "")
    assert kept(bench) == before
    return error


def moments(summary: RunSummary) -> list[float]:
    return [round(span.low + (span.high - span.low) / 2, 1) for span in summary.find_run_s]


def test_without_anything_to_say_it_lists_the_strikes(bench: Practised) -> None:
    before = kept(bench)
    status, out, _ = bench.command(correct)
    assert status == 0
    assert "Met. 2 of 2 found" in out
    assert "  1  2:00.0" in out
    assert "  2  5:20.0" in out
    assert kept(bench) == before


def test_that_was_no_strike(bench: Practised) -> None:
    told = said(bench, "--strike", "2", "--no-strike", "--by", "Bo", "--why", "a stone")
    summary, events = kept(bench)
    assert (summary.outcome, moments(summary)) == ("interrupted", [120.0])
    assert "Kept. The result was met, and is interrupted now." in told["changes"]
    assert "Found were 2, and are 1 now." in told["changes"]
    said_so = events[-1]
    assert (said_so.kind, said_so.data["author"], said_so.data["reason"]) == (
        "correction",
        "Bo",
        "a stone",
    )


def test_nothing_recorded_is_ever_edited(bench: Practised) -> None:
    _, before = kept(bench)
    said(bench, "--strike", "2", "--no-strike")
    said(bench, "--strike", "2", "--at", "3:20")
    said(bench, "--void", "a dog on the field")
    _, after = kept(bench)
    assert after[: len(before)] == before
    assert [event.kind for event in after[len(before) :]] == ["correction", "correction", "void"]


def test_what_was_said_can_be_taken_back(bench: Practised) -> None:
    before, _ = kept(bench)
    said(bench, "--strike", "1", "--no-strike")
    told = said(bench, "--strike", "1", "--as-recorded")
    summary, _ = kept(bench)
    assert (summary.outcome, moments(summary)) == (before.outcome, moments(before))
    assert told["strikes"][0]["corrected"] == []


def test_a_run_that_ended_on_what_was_no_strike_broke_off(bench: Practised) -> None:
    """Nobody knows whether the last one would have been found in time: neither pass nor fail."""
    said(bench, "--strike", "2", "--no-strike")
    assert kept(bench)[0].outcome == "interrupted"


def test_it_was_at_another_time(bench: Practised) -> None:
    told = said(bench, "--strike", "2", "--at", "3:20")
    summary, _ = kept(bench)
    assert (summary.outcome, moments(summary)) == ("met", [120.0, 200.0])
    assert told["changes"] == ["Kept. Found were at 2:00.0, 5:20.0, and are at 2:00.0, about 3:20."]


def test_overtime_that_was_none_and_the_other_way_round(bare: Practised) -> None:
    bench = bare
    bench.run([120.0, 490.0], outcome="not_met")
    told = said(bench, "--strike", "2", "--at", "9:55")
    assert "Kept. The result was not met, and is met now." in told["changes"]
    said(bench, "--strike", "2", "--at", "10:02")
    assert kept(bench)[0].outcome == "not_met"


def test_it_was_another_target_and_at_another_time(bench: Practised) -> None:
    _, events = kept(bench)
    first, second = [event.data["device"] for event in events if event.kind == "strike"]
    said(bench, "--strike", "1", "--was", second.lower(), "--at", "2:10")
    summary, _ = kept(bench)
    assert moments(summary) == [130.0]  # both strikes are on one target now
    told = said(bench, "--strike", "2", "--was", first)
    assert moments(kept(bench)[0]) == [130.0, 320.0]
    assert told["strikes"][0]["corrected"] == ["was_target", "at_time"]
    assert kept(bench)[0].outcome == "met"


def test_a_strike_that_nobody_felt_is_called(bare: Practised) -> None:
    bench = bare
    bench.run([120.0], broken_off_s=400.0, outcome="stopped")
    _, events = kept(bench)
    struck = {event.data["device"] for event in events if event.kind == "strike"}
    sent = {event.data["device"] for event in events if event.kind == "sends"}
    (missing,) = sent - struck
    told = said(bench, "--called", missing, "--at", "7:00")
    summary, _ = kept(bench)
    assert (summary.outcome, moments(summary)) == ("met", [120.0, 420.0])
    assert told["strikes"][1] == {
        "number": 2,
        "run_s": 420.0,
        "target": missing,
        "felt": False,
        "corrected": [],
    }
    said(bench, "--strike", "2", "--no-strike")
    summary, _ = kept(bench)
    assert (summary.outcome, moments(summary)) == ("stopped", [120.0])


def test_count_it(bare: Practised) -> None:
    """A strike sooner than anyone could be there is not counted, until somebody says so."""
    bench = bare
    bench.run([3.0, 200.0], outcome="not_met", find_run_s=())
    assert moments(kept(bench)[0]) == []
    said(bench, "--strike", "1", "--count")
    summary, _ = kept(bench)
    assert (summary.outcome, moments(summary)) == ("met", [3.0, 203.0])


def test_a_strike_on_what_did_not_send_cannot_count(bench: Practised) -> None:
    resting = next(name for name in PLACES if name not in struck(bench))
    assert f"{resting} did not send" in refused(bench, "--called", resting, "--at", "3:00")
    said(bench, "--strike", "2", "--was", resting)
    assert "did not send" in refused(bench, "--strike", "2", "--count")
    assert kept(bench)[0].found == 1
    said(bench, "--strike", "2", "--as-recorded")
    assert kept(bench)[0].found == 2


def struck(bench: Practised) -> list[str]:
    return [event.data["device"] for event in kept(bench)[1] if event.kind == "strike"]


def test_void_stays_void_and_says_why(bench: Practised) -> None:
    told = said(bench, "--void", "a stray transceiver")
    assert told["outcome"] == "void"
    said(bench, "--strike", "1", "--at", "2:10")
    assert kept(bench)[0].outcome == "void"
    _, out, _ = bench.command(debrief)
    assert "a stray transceiver" in out


def progress_told(bench: Practised) -> str:
    status, out, _ = bench.command(progress)
    assert status == 0
    return " ".join(out.split()).lower()


def test_void_as_the_run_was_closed_stays_void(bare: Practised) -> None:
    bare.run([120.0, 200.0], outcome="void")
    said(bare, "--strike", "2", "--at", "3:20")
    assert kept(bare)[0].outcome == "void"


def test_of_two_words_on_one_strike_the_later_counts(bench: Practised) -> None:
    said(bench, "--strike", "2", "--no-strike")
    said(bench, "--strike", "2", "--count")
    assert kept(bench)[0].outcome == "met"
    told = said(bench, "--strike", "2", "--no-strike")
    assert kept(bench)[0].outcome == "interrupted"
    assert told["strikes"][1]["corrected"] == ["no_strike"]


def test_statistics_see_the_corrected_run(bench: Practised) -> None:
    bench.run([120.0, 200.0])
    assert "met 2 of your last 2" in progress_told(bench)
    said(bench, "--strike", "2", "--no-strike")
    assert "met the only comparable blind run" in progress_told(bench)


def test_the_stored_line_is_what_the_events_give(
    here: InProcess, capsys: pytest.CaptureFixture[str]
) -> None:
    async def search() -> None:
        await here.until_sending()
        for name in here.in_play("pair", 3):
            await asyncio.sleep(60)
            here.sim.probe(name)

    here.run("--drill", "pair", "--seed", "3", "--searcher", "Ana", script=search)
    field = ("--field", str(here.place.folder))
    assert typed(correct, capsys, "--strike", "2", "--at", "1:50", *field)[0] == 0
    with Logbook.open(here.place.logbook_path, field_key=None) as logbook:
        record = logbook.find_run(None)
        again = logbook.rebuild(record.run_id, summarise(record))
        assert again.agrees
        assert rebuild(logbook, record).agrees
        assert moments(again.computed)[1] == 110.0
        assert again.computed.searcher == "Ana"


# Wrong input


WRONG: tuple[tuple[tuple[str, ...], str], ...] = (
    (("--strike", "7", "--no-strike"), "no strike number 7"),
    (("--strike", "1"), "nothing is said of that strike"),
    (("--no-strike",), "which strike is meant"),
    (("--strike", "1", "--was", "Elsewhere"), 'no target of this run is called "Elsewhere"'),
    (("--strike", "1", "--at", "soon"), "no time of a run"),
    (("--strike", "1", "--at", "3:75"), "no time of a run"),
    (("--strike", "1", "--at", "25:00"), "no time of a run"),
    (("--strike", "1", "--at", "5:30"), "the run ended at 5:23.0"),
    (("--strike", "1", "--no-strike", "--at", "3:00"), "goes with nothing else"),
    (("--called", "Quillfern"), "--called TARGET --at M:SS"),
    (("--void", "x", "--count"), "--void goes alone"),
)


def test_what_cannot_be_meant_changes_nothing(bench: Practised) -> None:
    for words, told in WRONG:
        assert told in refused(bench, *words)


def test_while_a_run_is_open_nothing_is_corrected(bench: Practised) -> None:
    with book(bench) as logbook:
        closed = run_id_text(logbook.find_run(None).run_id)
    bench.run([120.0, 200.0], is_open=True)
    for words in ((), (closed,), (closed, "--void", "a dog")):
        status, out, error = bench.command(correct, *words)
        assert (status, out) == (1, "")
        assert "a run is open on this field" in error
    with book(bench) as logbook, pytest.raises(NotReady, match="stays blind"):
        summarise(logbook.find_run(None))


def test_an_unknown_run_is_refused(bench: Practised) -> None:
    assert "no run begins with 'zzz'" in refused(bench, "zzz")
