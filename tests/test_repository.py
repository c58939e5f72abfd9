"""The repository speaks of the project alone, in files of a readable size."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from support.strict import absent
from support.tidy import TOP_LEVEL, faults, repository_files, strangers

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def files() -> list[Path]:
    found = repository_files(ROOT)
    if found is None:
        absent("needs git and a git checkout")
    return found


def test_no_file_has_a_fault(files: list[Path]) -> None:
    found = [f"{path.relative_to(ROOT)}: {fault}" for path in files for fault in faults(path)]
    assert found == []


def test_the_top_level_holds_only_what_belongs_there(files: list[Path]) -> None:
    assert strangers(ROOT, files) == set()
    assert {path.relative_to(ROOT).parts[0] for path in files} >= TOP_LEVEL


def test_the_change_log_has_a_place_for_what_comes() -> None:
    text = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    headings = re.findall(r"^## .*$", text, re.MULTILINE)
    assert headings[0] == "## [Unreleased]"


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("a.md", "see " + "/".join(["", "root", "x"]) + "\n"),
        ("a.md", "file://" + "/".join(["", "home", "someone"]) + "\n"),
        ("a.md", "https://pypi" + ".org/simple\n"),
        ("a.toml", "extra-index" + "-url = 'x'\n"),
        ("a.md", "a\n" + "<" * 7 + " HEAD\nb\n"),
        ("a.md", "a\n" + "=" * 7 + "\nb\n"),
        ("a.py", "if x:\n\ty = 1\n"),
        ("a.py", "x = 1\n" * 401),
        ("a.py", "def f():\n" + "    x = 1\n" * 60),
        ("a.py", "class A:\n    async def f(self):\n" + "        x = 1\n" * 60),
        ("a.bin", "\0" * 1_000_001),
    ],
)
def test_a_made_up_fault_is_found(tmp_path: Path, name: str, text: str) -> None:
    path = tmp_path / name
    path.write_text(text)
    assert len(list(faults(path))) == 1


def test_ordinary_text_has_no_fault(tmp_path: Path) -> None:
    path = tmp_path / "a.py"
    path.write_text(
        "# /dev/ttyACM0, https://example.org/home/page, frame/work/x, a/root/b\n"
        "def f():\n" + "    x = 1\n" * 59 + "x = 1\n" * 330
    )
    assert list(faults(path)) == []


def test_a_stranger_at_the_top_level_is_found(tmp_path: Path) -> None:
    names = ["README.md", "host/x.py", ".ci/run", "scratch/x.py", "notes.txt"]
    assert strangers(tmp_path, [tmp_path / name for name in names]) == {"scratch", "notes.txt"}
