"""`blindfield silence`, as somebody types it who does not know where the field's folder is."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from blindfield.conduct.owner import Owner
from blindfield.conduct.used_fields import field_used_last, fields_in_use
from blindfield.console.main import main
from support.in_process import InProcess, commands


@pytest.fixture(autouse=True)
def elsewhere(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """In a folder without a field, on a computer that has used none yet."""
    monkeypatch.chdir(tmp_path_factory.mktemp("elsewhere"))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path_factory.mktemp("state")))


def test_the_field_used_last_is_silenced_from_any_folder(
    here: InProcess, capsys: pytest.CaptureFixture[str]
) -> None:
    assert here.call("devices")[0] == 0
    assert field_used_last() == here.place.folder
    assert fields_in_use() == []
    assert main(["silence"]) == 0
    assert "Larch Hollow: silence sent. Confirmed silent: 1, 2, 3." in capsys.readouterr().out
    assert all(core.journal.latched for core in here.cores())


def test_a_field_in_use_comes_before_the_one_used_last(
    here: InProcess, tmp_path_factory: pytest.TempPathFactory, capsys: pytest.CaptureFixture[str]
) -> None:
    assert here.call("devices")[0] == 0
    folder = tmp_path_factory.mktemp("other")
    with commands(folder, capsys) as other:
        other.write(dataclasses.replace(other.place, name="Birch Hollow"))
        with Owner.acquire(here.place.folder):
            assert fields_in_use() == [here.place.folder]
            assert other.call("devices")[0] == 0  # the later one
            assert field_used_last() == folder
            assert fields_in_use() == [here.place.folder]


def test_a_field_never_used_here_has_to_be_named(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["silence"]) == 1
    err = capsys.readouterr().err
    assert "blindfield silence --field FOLDER" in err
    assert "five times, evenly" in err


def test_a_field_whose_file_is_gone_does_not_keep_the_others_from_silence(
    here: InProcess, tmp_path_factory: pytest.TempPathFactory, capsys: pytest.CaptureFixture[str]
) -> None:
    assert here.call("devices")[0] == 0
    lost = tmp_path_factory.mktemp("lost")
    Path("field.toml").write_text((here.place.folder / "field.toml").read_text())
    Path("field.key").write_text(here.place.key_path.read_text())
    Path("field.key").chmod(0o600)
    with Owner.acquire(lost):
        assert main(["silence"]) == 0
    out, err = capsys.readouterr()
    assert "no field file" in err or "cannot be read" in err
    assert "Confirmed silent: 1, 2, 3." in out
