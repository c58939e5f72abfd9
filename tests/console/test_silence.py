"""`blindfield silence`, as somebody types it who does not know where the field's folder is."""

from __future__ import annotations

import asyncio
import dataclasses
from collections.abc import Mapping
from pathlib import Path
from typing import Any

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
    assert "Larch Hollow: confirmed silent: 1, 2, 3." in capsys.readouterr().out
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


def test_in_an_emergency_every_place_is_shown(here: InProcess) -> None:
    said = here.call("silence")[1]
    for target in here.place.targets:
        line = f"{target.name}: {target.x_m:.1f} m, {target.y_m:.1f} m; {target.depth_m:.1f} m"
        assert line in said


def test_a_field_whose_file_cannot_be_read_is_not_taken_for_silent(
    here: InProcess, tmp_path_factory: pytest.TempPathFactory, capsys: pytest.CaptureFixture[str]
) -> None:
    """It may be the one in use: the others are silenced all the same."""
    assert here.call("devices")[0] == 0
    lost = tmp_path_factory.mktemp("lost")
    (lost / "field.toml").write_text("oops = [")
    Path("field.toml").write_text((here.place.folder / "field.toml").read_text())
    Path("field.key").write_text(here.place.key_path.read_text())
    Path("field.key").chmod(0o600)
    with Owner.acquire(lost):
        assert main(["silence"]) == 3
    out, err = capsys.readouterr()
    assert f"{lost.name}: all of it" in err
    assert "confirmed silent: 1, 2, 3." in out


def test_a_slip_in_the_fields_file_keeps_nobody_from_its_owner(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "field.toml").write_text("oops = [")

    async def hold() -> int:
        async def silence(_: Mapping[str, Any]) -> Mapping[str, Any]:
            return {"silent": ["1"], "not_confirmed": []}

        with Owner.acquire(tmp_path) as owner:
            owner.handle("silence", silence)
            await owner.serve()
            try:
                return await asyncio.to_thread(main, ["silence"])
            finally:
                await owner.stop()

    assert asyncio.run(hold()) == 0
    assert "confirmed silent: 1." in capsys.readouterr().out


def test_ctrl_c_in_a_silence_confirms_nothing(
    here: InProcess, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: Any, **__: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("blindfield.console.silence.silence_field", interrupted)
    status, out, err = here.call("silence")
    assert status == 3
    assert "nobody confirmed anything" in err
    assert out == ""
