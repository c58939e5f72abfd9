"""`blindfield logbook`: backup, export, import, people, forget, rebuild, check."""

from __future__ import annotations

import argparse
import asyncio
import builtins
import json
import sqlite3
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from blindfield.console import logbook as logbook_command
from blindfield.console.own_figures import own_attempts
from blindfield.logbook.book import Logbook
from blindfield.model.ids import parse_run_id
from blindfield.scoring.standards import standards_of
from support.in_process import InProcess
from support.practised import Practised, field_in
from support.runs import host
from support.two_logbooks import content

ARABIC = "ليلى"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Practised:
    """Runs of two people and one that nobody is named in."""
    practised = Practised(tmp_path_factory.mktemp("made"), None)  # type: ignore[arg-type]
    with practised.logbook():
        practised.run([150.0, 200.0], searcher="Ana")
        practised.run([150.0, 230.0], searcher=ARABIC, knows_places=True)
        practised.run([100.0], outcome="not_met", broken_off_s=600.0, searcher="")
    return practised


@pytest.fixture
def desk(tmp_path: Path, capsys: pytest.CaptureFixture[str], made: Practised) -> Practised:
    here = Practised(tmp_path / "field", capsys)
    here.like(made)
    return here


@pytest.fixture
def empty(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Practised:
    folder = tmp_path / "empty"
    folder.mkdir()
    return Practised(folder, capsys)


def call(desk: Practised, *words: str) -> tuple[int, str, str]:
    return desk.command(logbook_command, *words)


def data(desk: Practised, *words: str) -> Any:
    read: Any = json.loads(call(desk, *words, "--json")[1])
    return read


def types(patch: pytest.MonkeyPatch, text: str) -> None:
    patch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    patch.setattr(builtins, "input", lambda _question: text)


def path_of(desk: Practised) -> Path:
    return desk.folder / "logbook.sqlite"


def edit(desk: Practised, text: str, *values: object) -> None:
    with sqlite3.connect(path_of(desk)) as file:
        file.execute(text, values)
    file.close()


def test_a_backup_is_made_and_opens(desk: Practised, empty: Practised, tmp_path: Path) -> None:
    target = tmp_path / "copy.sqlite"
    status, out, _ = call(desk, "backup", str(target))
    assert (status, out) == (
        0,
        f"{target}: a copy of the logbook, 3 runs, read back and sound.\n",
    )
    target.rename(path_of(empty))
    with desk.logbook() as one, empty.logbook() as other:
        assert content(one) == content(other)


def test_an_exported_file_is_taken_in_once(
    desk: Practised, empty: Practised, tmp_path: Path
) -> None:
    target = str(tmp_path / "out.jsonl")
    assert call(desk, "export", target)[:2] == (0, f"{target}: 3 runs and entries.\n")
    assert call(empty, "import", target)[:2] == (
        0,
        "3 runs and 0 entries taken in; 0 were here already.\n",
    )
    assert call(empty, "import", target)[1] == (
        "0 runs and 0 entries taken in; 3 were here already.\n"
    )
    assert data(empty, "rebuild") == data(desk, "rebuild")
    assert {one["name"] for one in data(empty, "people")} == {"Ana", ARABIC}


def test_what_was_not_taken_is_named_and_the_status_says_so(
    desk: Practised, empty: Practised, tmp_path: Path
) -> None:
    target = tmp_path / "out.jsonl"
    call(desk, "export", str(target))
    target.write_text(target.read_text().replace('"outcome":"not_met"', '"outcome":"met"'))
    status, out, _ = call(empty, "import", str(target))
    assert status == 1
    assert "2 runs and 0 entries taken in" in out
    assert "NOT TAKEN: line 4: run obzgg" in out
    assert "was changed since it was exported" in out
    assert call(empty, "import", str(tmp_path / "none.jsonl"))[2].startswith(
        f"{tmp_path / 'none.jsonl'} cannot be read: No such file"
    )


def test_a_table_for_a_spreadsheet(desk: Practised, tmp_path: Path) -> None:
    target = tmp_path / "out.csv"
    assert call(desk, "export", str(target))[:2] == (0, f"{target}: 3 runs.\n")
    assert ARABIC in target.read_text(encoding="utf-8-sig").splitlines()[2]
    assert call(desk, "export", str(target))[0] == 0  # over its own
    diary = tmp_path / "diary.csv"
    diary.write_text("dear diary")
    assert "no exported logbook of ours" in call(desk, "export", str(diary))[2]
    assert "neither .jsonl nor .csv" in call(desk, "export", str(tmp_path / "out.txt"))[2]


def test_places_are_not_exported_while_a_run_is_open(desk: Practised, tmp_path: Path) -> None:
    desk.run([100.0], is_open=True)
    status, _, error = call(desk, "export", str(tmp_path / "out.jsonl"))
    assert status == 1
    assert "a run is open" in error
    assert call(desk, "export", str(tmp_path / "out.csv"))[1].endswith("3 runs.\n")
    assert call(desk, "backup", str(tmp_path / "copy.sqlite"))[0] == 0
    for words in (("forget", "Ana", "--name-again", "Ana"), ("import", str(tmp_path / "x.jsonl"))):
        (tmp_path / "x.jsonl").write_text('{"format":"blindfield logbook","version":1}\n')
        assert "while a run is open" in call(desk, *words)[2]
    assert [path.name for path in tmp_path.glob("*.jsonl")] == ["x.jsonl"]


def test_people_are_listed(desk: Practised) -> None:
    listed = call(desk, "people")[1].splitlines()
    assert sorted(line.partition(", last ")[0] for line in listed) == [
        "Ana: 1 run, 0 entries",
        f"{ARABIC}: 1 run, 0 entries",
    ]


def test_a_person_is_removed_once_the_name_is_typed_again(
    desk: Practised, monkeypatch: pytest.MonkeyPatch
) -> None:
    for wrong in ("", "yes", "Ann"):
        types(monkeypatch, wrong)
        status, _, error = call(desk, "forget", "Ana")
        assert (status, "was not typed again" in error) == (1, True)
    types(monkeypatch, "ana")
    status, out, _ = call(desk, "forget", "Ana")
    assert status == 0
    assert "Removed from 1 run" in out
    assert "Backups and exports made before still hold the name" in out
    names = [one["name"] for one in data(desk, "people")]
    assert sorted(names) == sorted(["(removed)", ARABIC])


def test_where_nobody_is_asked_the_name_is_given_twice(desk: Practised) -> None:
    assert "--name-again" in call(desk, "forget", ARABIC)[2]
    assert call(desk, "forget", ARABIC, "--name-again", ARABIC)[0] == 0
    assert "nobody called" in call(desk, "forget", ARABIC, "--name-again", ARABIC)[2]


def test_a_sound_logbook_is_said_to_be_so(desk: Practised) -> None:
    assert call(desk, "check")[:2] == (
        0,
        f"{path_of(desk)}: every page and every run can be read.\n",
    )


def test_of_a_damaged_one_the_rest_is_saved_and_can_be_taken_in(
    desk: Practised, empty: Practised
) -> None:
    edit(desk, "UPDATE events SET data = '{' WHERE kind = 'run_drawn' AND id < 5")
    status, out, _ = call(desk, "check")
    saved = desk.folder / "logbook-rescued.jsonl"
    assert status == 1
    assert "DAMAGED: run obzgg" in out
    assert f"Saved to {saved}: 2 runs and 0 entries that can be read whole." in out
    assert "LOST: run obzgg" in out
    status, out, _ = call(empty, "import", str(saved))
    assert status == 0
    assert "Of these runs events had been lost before: obzgg" in out
    assert data(empty, "rebuild")["runs"] == 3


@pytest.mark.parametrize("start", [0, 100])
def test_a_file_of_which_nothing_can_be_read_is_said_to_be_so(desk: Practised, start: int) -> None:
    with path_of(desk).open("r+b") as file:
        file.seek(start)
        file.write(b"\xa5" * (4096 * 3 - start))
    status, _, error = call(desk, "check")
    assert status == 1
    assert "damaged" in error or "nothing can be read" in error


def test_a_newer_logbook_is_refused_not_saved(desk: Practised) -> None:
    edit(desk, "INSERT INTO schema_version VALUES (99)")
    for word in ("check", "rebuild", "people"):
        assert "version 99" in call(desk, word)[2]
    assert not (desk.folder / "logbook-rescued.jsonl").exists()


@pytest.mark.parametrize("word", ["backup", "export", "people", "forget", "rebuild", "check"])
def test_without_a_logbook_there_is_nothing_to_do(empty: Practised, word: str) -> None:
    more = {"backup": ["x.sqlite"], "export": ["x.csv"], "forget": ["A", "--name-again", "A"]}
    assert "there is no logbook" in call(empty, word, *more.get(word, []))[2]
    assert not path_of(empty).exists()


def test_a_figure_that_is_not_what_the_events_say_is_named_and_put_right(
    here: InProcess, capsys: pytest.CaptureFixture[str]
) -> None:
    """A run as it is conducted and closed; then somebody says that it is not to count."""

    def rebuild(*words: str) -> tuple[int, str]:
        parser = argparse.ArgumentParser()
        logbook_command.add_arguments(parser)
        capsys.readouterr()
        field = ["--field", str(here.place.folder)]
        status = logbook_command.run(parser.parse_args(["rebuild", *words, *field]))
        return status, capsys.readouterr().out

    async def find_one() -> None:
        await here.until_sending()
        await asyncio.sleep(20)
        here.sim.probe(here.in_play("single", 3)[0])

    drill = ("--drill", "single", "--seed", "3", "--minutes", "5", "--searcher", ARABIC)
    status, out, err = here.run("--json", *drill, script=find_one)
    assert status == 0, err
    run = json.loads(out)["run"]
    same = "1 of 1 run: every figure is what the events say.\n"
    assert rebuild() == (0, same)
    void = replace(
        host("void", None, "person", reason="a stray dog"), run_id=parse_run_id(run), host_s=None
    )
    with Logbook.open(here.place.logbook_path, field_key=None) as book:
        book.append(void)
    status, out = rebuild()
    assert status == 1
    assert f"DIFFERS: run {run[:6]}: outcome is 'met', by its events 'void'." in out
    assert rebuild("--store") == (0, f"Put right: 1 run.\n{same}")
    assert rebuild() == (0, same)
    with sqlite3.connect(here.place.logbook_path) as file:
        file.execute("UPDATE runs SET commitment = 'another'")
    file.close()
    status, out = rebuild("--store")
    assert status == 1
    assert "the commitment is not the one of its events" in out
    assert "it was left" in out


def test_a_figure_kept_for_progress_is_worked_out_again(desk: Practised) -> None:
    with desk.logbook() as book:
        own_attempts(book, field_in(desk.folder), "Ana", standards_of(desk.folder))
    assert call(desk, "rebuild", "--store")[0] == 1  # these runs were made up, drawn at one time
    edit(desk, "UPDATE run_figures SET data = replace(data, 'legs', 'arms')")
    assert "what is kept for progress" in call(desk, "rebuild")[1]
    assert "what is kept for progress" not in call(desk, "rebuild", "--store")[1]
