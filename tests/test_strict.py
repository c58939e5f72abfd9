"""A skip never counts as a pass in strict mode, and this suite's settings hold."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import zlib
from pathlib import Path

import pytest
from hypothesis import settings

from support.strict import strict

TESTS = Path(__file__).resolve().parent
SKIPS = "import pytest\n@pytest.mark.skip(reason='r')\ndef test_it():\n    pass\n"
MODULE = "import pytest\npytest.skip('r', allow_module_level=True)\n"
ABSENT = "from support.strict import absent\ndef test_it():\n    absent('no rig')\n"
RUNS = "def test_it():\n    assert True\n"


def session(folder: Path, text: str, *, strict: bool) -> subprocess.CompletedProcess[str]:
    """pytest under our conftest on one made-up test file (and one that passes)."""
    (folder / "conftest.py").write_text((TESTS / "conftest.py").read_text(encoding="utf-8"))
    (folder / "test_made_up.py").write_text(text)
    (folder / "test_passing.py").write_text(RUNS)
    paths = f"pythonpath={TESTS}"
    command = [sys.executable, "-m", "pytest", "-o", paths, "-p", "no:cacheprovider", str(folder)]
    env = {**os.environ, "BLINDFIELD_STRICT": "1" if strict else "0"}
    return subprocess.run(
        command, cwd=folder, env=env, capture_output=True, text=True, check=False, timeout=60
    )


@pytest.mark.parametrize("text", [SKIPS, MODULE, ABSENT], ids=["mark", "module", "absent"])
def test_a_skip_passes_at_a_desk_and_fails_when_strict(tmp_path: Path, text: str) -> None:
    desk = session(tmp_path, text, strict=False)
    assert (desk.returncode, "1 skipped" in desk.stdout) == (0, True), desk.stdout
    ended = session(tmp_path, text, strict=True)
    assert ended.returncode == 1, ended.stdout
    assert "strict mode wants it" in ended.stdout or "STRICT: skipped" in ended.stdout


def test_ci_is_strict_unless_told_otherwise(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("BLINDFIELD_STRICT", raising=False)
    monkeypatch.delenv("CI", raising=False)
    assert not strict()
    monkeypatch.setenv("CI", "true")
    assert strict()
    monkeypatch.setenv("BLINDFIELD_STRICT", "0")
    assert not strict()


def test_a_strict_session_without_skips_passes(tmp_path: Path) -> None:
    ended = session(tmp_path, RUNS, strict=True)
    assert ended.returncode == 0, ended.stdout


def test_property_tests_have_no_deadline() -> None:
    assert settings.default is not None
    assert settings.default.deadline is None


def test_each_test_begins_with_its_own_fixed_seed(request: pytest.FixtureRequest) -> None:
    drawn = random.random()
    assert drawn == random.Random(zlib.crc32(request.node.nodeid.encode())).random()
