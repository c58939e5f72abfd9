"""`blindfield key`: made once, never overwritten, shown only when asked for by name."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from blindfield.console.main import main
from blindfield.field.starter import starter_field_text
from blindfield.links.keyfile import fingerprint, read_key
from support.scenarios import small_field


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "field.toml").write_text(starter_field_text(small_field(2, folder=tmp_path)))
    return tmp_path


def test_a_new_key_is_the_owners_alone_and_no_secret_is_printed(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["key", "new", "--field", str(folder)]) == 0
    out = capsys.readouterr().out
    key = read_key(folder / "field.key")
    assert fingerprint(key) in out
    assert key.hex() not in out
    if os.name == "posix":
        assert (folder / "field.key").stat().st_mode & 0o777 == 0o600
    assert main(["key", "show", "--json", "--field", str(folder)]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told == {"file": str(folder / "field.key"), "fingerprint": fingerprint(key)}


def test_the_secret_is_shown_when_asked_for_by_name(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["key", "new", "--field", str(folder)])
    assert main(["key", "show", "--secret", "--field", str(folder)]) == 0
    assert read_key(folder / "field.key").hex() in capsys.readouterr().out


def test_a_key_is_never_overwritten(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["key", "new", "--field", str(folder)])
    before = read_key(folder / "field.key")
    assert main(["key", "new", "--field", str(folder)]) == 1
    assert "exists already" in capsys.readouterr().err
    assert read_key(folder / "field.key") == before


def test_without_a_key_it_says_how_to_make_one(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["key", "show", "--field", str(folder)]) == 1
    assert "blindfield key new" in capsys.readouterr().err
