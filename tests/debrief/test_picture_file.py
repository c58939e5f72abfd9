"""A picture as a file: over nothing of others, whole or not at all, loaded late."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from matplotlib.figure import Figure

from blindfield.debrief.pictures import save
from blindfield.model.errors import ConfigError


@pytest.fixture(scope="module")
def small() -> Figure:
    return Figure(figsize=(1, 1))


@pytest.mark.parametrize("name", ["page.pdf", "page", "page.svg.gz", "field.toml"])
def test_another_suffix_is_refused(small: Figure, tmp_path: Path, name: str) -> None:
    with pytest.raises(ConfigError, match=r"ends in \.svg or \.png"):
        save(small, tmp_path / name)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("content", [b"", b"<svg>mine</svg>", b"\x89PNG mine" + b"\0" * 9000])
def test_a_file_of_others_is_left_as_it_is(small: Figure, tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "page.svg"
    path.write_bytes(content)
    with pytest.raises(ConfigError, match="no picture of ours"):
        save(small, path)
    assert path.read_bytes() == content


@pytest.mark.parametrize("suffix", [".svg", ".png"])
def test_a_picture_of_ours_is_replaced_and_nothing_else_is_left(
    small: Figure, tmp_path: Path, suffix: str
) -> None:
    path = tmp_path / f"page{suffix}"
    save(Figure(figsize=(2, 2)), path)
    before = path.read_bytes()
    save(small, path)
    assert path.read_bytes() != before
    assert [one.name for one in tmp_path.iterdir()] == [path.name]


def test_a_place_that_cannot_be_written_is_said(small: Figure, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    (tmp_path / "folder.svg").mkdir()
    for place in ("nowhere/page.svg", "file/page.svg", "folder.svg"):
        with pytest.raises(ConfigError, match=r"cannot be written: .*--picture"):
            save(small, tmp_path / place)
    assert sorted(one.name for one in tmp_path.iterdir()) == ["file", "folder.svg"]


def test_a_disk_that_fails_midway_keeps_the_old_picture(
    small: Figure, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "page.svg"
    save(small, path)
    before = path.read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.replace", full)
    with pytest.raises(ConfigError, match="No space left"):
        save(Figure(figsize=(2, 2)), path)
    assert path.read_bytes() == before
    assert [one.name for one in tmp_path.iterdir()] == ["page.svg"]


def test_matplotlib_comes_with_the_first_picture_and_its_global_interface_never() -> None:
    script = (
        "import sys\n"
        "import blindfield.debrief.pictures\n"
        "assert 'matplotlib' not in sys.modules\n"
        "import blindfield.debrief.picture_figure as figure\n"
        "with figure.settings():\n"
        "    assert 'matplotlib.pyplot' not in sys.modules\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False, timeout=60
    )
    assert done.returncode == 0, done.stderr
