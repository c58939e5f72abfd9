"""`draw` says how much is left; `run` draws for a searcher and keeps what the next draw needs."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from blindfield.console import draw
from blindfield.field.starter import starter_field_text
from blindfield.logbook.book import Logbook
from blindfield.model.event_kinds import KINDS
from blindfield.model.events import Event
from blindfield.model.run_summary import RunSummary
from support.drill_fields import wide_field
from support.in_process import InProcess
from support.logbook_kit import EPOCH, KEY, UTC, summary, with_open_run
from support.one_command import typed

Draw = Callable[..., tuple[int, str, str]]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = wide_field(tmp_path)
    (tmp_path / "field.toml").write_text(starter_field_text(place))
    return tmp_path


@pytest.fixture
def ask(folder: Path, capsys: pytest.CaptureFixture[str]) -> Draw:
    def call(*words: str) -> tuple[int, str, str]:
        return typed(draw, capsys, *words, "--field", str(folder))

    return call


def figures(ask: Draw, *words: str) -> dict[str, Any]:
    status, out, err = ask("--json", *words)
    assert status == 0, err
    told: dict[str, Any] = json.loads(out)
    return told


def keep(folder: Path, *runs: dict[str, Any]) -> None:
    with Logbook.open(folder / "logbook.sqlite", field_key=KEY) as book:
        for number, changes in enumerate(runs, len(book.runs())):
            run = with_open_run(book, number)
            book.close_run(run, summary(run, field_name="Larch Hollow", **changes))


def entry(folder: Path, kind: str, **data: Any) -> None:
    source = KINDS[kind].sources[0]
    with Logbook.open(folder / "logbook.sqlite", field_key=KEY) as book:
        book.append(Event(kind=kind, source=source, host_epoch=EPOCH, utc=UTC, data=data))


# What is left


def test_a_fresh_field_has_all_left_and_no_logbook_is_made(ask: Draw, folder: Path) -> None:
    told = figures(ask)
    assert told["left"] == told["problems"] >= 60
    assert told["used_up"] is False
    assert sum(kind["problems"] >= 3 for kind in told["kinds"]) >= 8
    assert not (folder / "logbook.sqlite").exists()


def test_the_page_tells_what_cannot_be_set_and_no_place(ask: Draw, folder: Path) -> None:
    text = (folder / "field.toml").read_text()
    named = text.replace('name = "', 'name = "Zwetschge')
    (folder / "field.toml").write_text(named)
    status, out, _ = ask("--range", "90")
    assert status == 0
    assert "pair_out_of_range: not here, no 2 targets lie so far apart" in " ".join(out.split())
    assert all(len(line) <= 80 for line in out.splitlines())
    assert "Zwetschge1" not in out
    for target in wide_field().targets:
        assert f"{target.x_m:g} m" not in out
        assert f"{target.depth_m:g} m" not in out.replace("0 to 1 m", "")
    assert (status, out) == ask("--range", "90")[:2]  # nothing is drawn


def test_how_likely_each_kind_is_next_is_not_told(ask: Draw, folder: Path) -> None:
    keep(folder, {"searcher": "Vera", "sent": ("1",), "scenario_kind": "single"})
    told = figures(ask, "--searcher", "Vera")
    assert not any("share" in kind for kind in told["kinds"])
    waits = {kind["kind"]: kind["waits_for"] for kind in told["kinds"]}
    assert waits["pair"] == []
    assert waits["three"] == ["pair", "pair_within_range", "pair_out_of_range"]
    assert "after pair or the like" in ask("--searcher", "Vera")[1]


def test_what_this_searcher_met_is_not_left_and_others_have_all(ask: Draw, folder: Path) -> None:
    keep(
        folder,
        *(
            {"scenario_kind": "pair", "searcher": "Vera", "sent": sent, "start_point": "south flag"}
            for sent in (("1", "5"), ("3", "7"), ("2", "8"))
        ),
    )
    vera, other = figures(ask, "--searcher", "Vera"), figures(ask, "--searcher", "Ida")
    assert other["left"] == other["problems"]
    assert vera["left"] == vera["problems"] - 3
    pair = next(kind for kind in vera["kinds"] if kind["kind"] == "pair")
    assert (pair["tried"], pair["judged"], pair["met"]) == (3, 3, 3)


def test_a_name_is_the_same_however_it_is_typed(ask: Draw, folder: Path) -> None:
    keep(folder, {"searcher": "Zoë 雪", "sent": ("1",), "start_point": "south flag"})
    assert figures(ask, "--searcher", "  zoe\u0308  雪 ")["runs_here"] == 1


def test_a_used_up_field_says_so_and_what_to_do(ask: Draw, folder: Path) -> None:
    place = wide_field(folder, targets=2)
    (folder / "field.toml").write_text(starter_field_text(place))
    starts = [start.name for start in place.start_points]
    sets = (("1",), ("2",), ("1", "2"))
    keep(
        folder,
        *(
            {"searcher": "Vera", "sent": sent, "start_point": start, "scenario_kind": "pair"}
            for sent in sets
            for start in starts
        ),
    )
    _, out, _ = ask("--searcher", "Vera")
    assert out.splitlines()[-1] == "This field is used up for you: move two, or swap."
    assert "0 of" in out
    _, out, _ = ask("--searcher", "Ida")
    assert "used up" not in out


def test_runs_of_who_knows_the_places_are_counted_apart(ask: Draw, folder: Path) -> None:
    run = {"searcher": "Vera", "scenario_kind": "single", "sent": ("3",), "start_point": "x"}
    keep(folder, {**run, "knows_places": True}, {**run, "outcome": "not_met"})

    def single(*words: str) -> tuple[int, int]:
        kinds = figures(ask, "--searcher", "Vera", *words)["kinds"]
        return next((k["tried"], k["met"]) for k in kinds if k["kind"] == "single")

    assert single() == (1, 0)
    assert single("--knows-places") == (1, 1)


def test_what_people_said_of_the_targets_counts(ask: Draw, folder: Path) -> None:
    before = figures(ask)["problems"]
    entry(folder, "state", device="3", state="dug out", field="Larch Hollow")
    after = figures(ask)["problems"]
    assert after < before
    walked = {"transceiver": "its own", "ranges_m": [22, 21, 24, 23, 23, 22]}
    entry(folder, "receive_range", searcher="Vera", **walked)
    assert figures(ask, "--searcher", "vera")["range_m"] == pytest.approx(22.5, abs=1.0)
    assert figures(ask)["range_m"] == 40.0
    assert figures(ask, "--searcher", "Vera", "--range", "30")["range_m"] == 30.0


def test_an_open_run_changes_nothing_of_what_is_told(ask: Draw, folder: Path) -> None:
    keep(folder, {"searcher": "Vera", "sent": ("1",), "start_point": "south flag"})
    before = ask("--searcher", "Vera")
    with Logbook.open(folder / "logbook.sqlite", field_key=KEY) as book:
        with_open_run(book, 9)
        book.append(Event(kind="state", source="person", host_epoch=EPOCH, utc=UTC,
                          data={"device": "3", "state": "dug out"}))  # fmt: skip
    assert ask("--searcher", "Vera") == before


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (("--range", "3"), "no transceiver's"),
        (("--searcher", "a\x07b"), "is no name of a searcher"),
        (("--searcher", "x" * 99), "is no name of a searcher"),
        (("--band", "1", "0.5"), "a band from 1 to 0.5"),
    ],
)
def test_wrong_words_are_refused(ask: Draw, words: tuple[str, ...], what: str) -> None:
    status, _, err = ask(*words)
    assert status == 1
    assert what in err


def test_a_mistake_in_the_fields_own_drills_is_pointed_at(ask: Draw, folder: Path) -> None:
    (folder / "drills.toml").write_text('[[drill]]\nkind = "mine"\ntargts = 2\n')
    status, _, err = ask()
    assert status == 1
    assert f"{folder / 'drills.toml'}, line 3" in err
    assert "Did you mean targets?" in err


# The run that draws


async def stop_after(here: InProcess, seconds: float = 5.0) -> None:
    await here.until_sending()
    await asyncio.sleep(seconds)
    for name in here.targets:
        here.sim.probe(name)
        await asyncio.sleep(4.0)


def last(here: InProcess) -> RunSummary:
    with Logbook.open(here.place.logbook_path, field_key=None) as book:
        done = book.find_run(None).summary
    assert done is not None
    return done


def test_without_a_kind_the_problem_is_drawn_for_the_searcher(here: InProcess) -> None:
    seen = ""

    async def look() -> None:
        nonlocal seen
        await here.until_sending()
        seen = here.seen()
        await stop_after(here, 0.0)

    status, out, err = here.run("--searcher", "Vera", "--minutes", "5", script=look)
    assert status == 0, err
    assert "One target" in out  # the debrief names it; a newcomer begins so
    assert "One target" not in seen
    assert "single" not in seen
    done = last(here)
    assert (done.scenario_kind, done.searcher, done.knows_places) == ("single", "Vera", False)
    assert len(done.sent) == 1
    assert done.start_point in {start.name for start in here.place.start_points}
    with Logbook.open(here.place.logbook_path, field_key=None) as book:
        scenario = book.events_of(done.run_id)[0].data["scenario"]
    assert "never tried before" in scenario["why"][0]
    # The seed that is told brings the same problem back.
    assert here.in_play("single", scenario["seed"]) == list(done.sent)


def test_a_kind_with_a_seed_is_the_same_whatever_was_drawn_before(here: InProcess) -> None:
    for _ in range(2):
        status, _, err = here.run(
            "--drill", "single", "--seed", "8", "--minutes", "5", script=lambda: stop_after(here)
        )
        assert status == 0, err
        assert list(last(here).sent) == here.in_play("single", 8)


def test_who_knew_the_places_once_is_reminded(here: InProcess) -> None:
    words = ("--drill", "single", "--seed", "8", "--minutes", "5", "--searcher", "Ida")
    here.run(*words, "--knows-places", script=lambda: stop_after(here))
    assert last(here).knows_places
    _, out, _ = here.run(*words, script=lambda: stop_after(here))
    assert "Ida knew the places of this field" in out


def test_a_target_said_to_be_dug_out_is_not_drawn(here: InProcess) -> None:
    for name in ("1", "2"):
        with Logbook.open(here.place.logbook_path, field_key=None) as book:
            data = {"device": name, "state": "dug out", "field": here.place.name}
            book.append(Event(kind="state", source="person", host_epoch=EPOCH, utc=UTC, data=data))
    status, out, err = here.run("--drill", "pair", "--minutes", "5")
    assert status == 1
    assert "needs 2 targets, the field has 1 in place" in err
    assert "Not in the draw: 1 (dug out), 2 (dug out). `blindfield state`" in out
    assert "--drill" in err
    assert here.silent()


def test_what_was_dug_out_in_a_run_stays_out_until_it_is_said_to_be_back(here: InProcess) -> None:
    async def dig() -> None:
        await here.until_sending()
        await asyncio.sleep(10)
        (name,) = here.in_play("single", 8)
        here.sim.probe(name)
        await asyncio.sleep(5)
        here.sim.lift(name)
        await asyncio.sleep(5)

    words = ("--drill", "single", "--seed", "8", "--minutes", "5")
    status, _, err = here.run(*words, "--end-on", "dug-out", script=dig)
    assert status == 0, err
    (dug,) = last(here).sent
    _, out, _ = here.run(*words[:2], "--minutes", "5", script=lambda: stop_after(here))
    assert f"Not in the draw: {dug} (felt lifted" in out
    assert last(here).sent != (dug,)
    data = {"device": dug, "state": "put back", "depth_m": 0.8, "field": here.place.name}
    with Logbook.open(here.place.logbook_path, field_key=None) as book:
        book.append(Event(kind="state", source="person", host_epoch=EPOCH, utc=UTC, data=data))
    _, out, _ = here.run(*words, script=lambda: stop_after(here))
    assert "Not in the draw" not in out
    assert last(here).sent == (dug,)


def test_aids_and_kinds_of_the_field_are_known_to_the_run(here: InProcess) -> None:
    text = '[[drill]]\nkind = "mine"\ntitle = "Mine"\nwork = ["search only"]\ntargets = 1\n'
    text += "".join(f'{k} = "x"\n' for k in ("purpose", "watch", "geometry", "timing", "cautions"))
    (here.place.folder / "drills.toml").write_text(text)
    words = ("--drill", "mine", "--aid", "struck_rests", "--minutes", "5")
    status, _, err = here.run(*words, script=lambda: stop_after(here))
    assert status == 0, err
    assert last(here).scenario_kind == "mine"
    status, _, err = here.run("--aid", "struck_rest")
    assert status == 1
    assert "Did you mean struck_rests" in err


def test_first_steps_and_what_counts_are_said_before_the_start(here: InProcess) -> None:
    _, out, _ = here.run(
        "--drill", "single", "--seed", "8", "--minutes", "5", script=lambda: stop_after(here)
    )
    assert "First steps" in out
    assert "Search only: a target counts as found at the probe strike." in out
