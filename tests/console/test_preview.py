"""`blindfield preview`: what it writes and says, and that it never opens a blind run."""

from __future__ import annotations

import argparse
import asyncio
from pathlib import Path

import pytest

from blindfield.console import preview
from blindfield.logbook.book import Logbook
from blindfield.model.errors import BlindfieldError, ConfigError, LogbookError, NotReady
from blindfield.model.ids import run_id_text
from support.in_process import InProcess

PAIR = ("--drill", "pair", "--seed", "3", "--minutes", "5")


def call(*words: str) -> int:
    parser = argparse.ArgumentParser()
    preview.add_arguments(parser)
    return preview.run(parser.parse_args(words))


def refused(kind: type[BlindfieldError], *words: str) -> str:
    with pytest.raises(kind) as caught:
        call(*words)
    return str(caught.value)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The current folder, without a field."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_without_a_field_it_draws_the_example_and_says_so(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert call() == 0
    out = capsys.readouterr().out
    assert [path.name for path in folder.iterdir()] == ["preview.svg"]
    for words in (
        "Wrote preview.svg: the built-in example",
        "flux lines",
        "profile practised, seed 1: a model, not people",
        "The model found target 1 at",
    ):
        assert words in out
    text = (folder / "preview.svg").read_text(encoding="utf-8")
    assert "MODEL" in text
    assert ">target 1<" in text


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--profile", "bold"), "Choose from new, practised, expert."),
        (("--picture", "plan.pdf"), "ends in .svg or .png"),
        (("--picture", "nowhere/plan.svg"), "plan.svg cannot be written"),
        (("--drill", "pair"), "There is no field file field.toml."),
        (("4kq",), "There is no field file field.toml."),
    ],
)
def test_wrong_input_is_one_sentence_and_no_file(
    folder: Path, words: tuple[str, ...], sentence: str
) -> None:
    assert sentence in refused(ConfigError, *words)
    assert list(folder.iterdir()) == []


def test_its_help_says_whom_it_is_for() -> None:
    parser = argparse.ArgumentParser()
    preview.add_arguments(parser)
    assert "for whoever plans, not for whoever searches" in " ".join(parser.format_help().split())


def test_a_drill_on_a_field_is_drawn_before_any_run(
    here: InProcess, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ("--field", str(here.place.folder), "--drill", "pair", "--seed", "3")
    assert call(*words, "--picture", "plan.svg") == 0
    out = capsys.readouterr().out
    assert "Larch Hollow, as drawn with --drill pair --seed 3. Not for who searches it." in out
    assert "How the antenna lies was not noted for" in out
    text = (folder / "plan.svg").read_text(encoding="utf-8")
    in_play = here.in_play("pair", 3)
    for target in here.place.targets:
        assert (f">target {target.name}<" in text) == (target.name in in_play)
    assert not here.place.logbook_path.exists()
    assert "there is no drill" in refused(ConfigError, *words[:2], "--drill", "circle")
    assert "logbook" in refused(LogbookError, "4kq", *words[:2])


def test_an_open_run_stays_blind_and_a_closed_one_stands_beside_the_model(
    here: InProcess, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    field = ("--field", str(here.place.folder))
    said: list[str] = []
    run_id: list[str] = []
    names = here.in_play("pair", 3)

    async def search() -> None:
        await here.until_sending()
        said.append(refused(NotReady, *field))
        said.append(refused(NotReady, *field, "--drill", "single", "--seed", "9"))
        with Logbook.open(here.place.logbook_path, field_key=None) as logbook:
            (record,) = logbook.open_runs()
        said.append(refused(NotReady, run_id_text(record.run_id), *field))
        run_id.append(run_id_text(record.run_id))
        await asyncio.sleep(60)
        for name in names:
            here.sim.probe(name)
            await asyncio.sleep(30)

    status, _, err = here.run(*PAIR, script=search)
    assert status == 0, err
    assert ["a run is open" in text for text in said] == [True, True, False]
    assert said[2] == "this run is not closed yet. It stays blind until then."
    assert not (folder / "preview.svg").exists()

    assert call(run_id[0][:6], *field, "--picture", "run.svg") == 0
    assert "beside the model" in capsys.readouterr().out
    text = (folder / "run.svg").read_text(encoding="utf-8")
    for words in (">yours<", ">model<", *(f">target {name}  " for name in names)):
        assert words in text
