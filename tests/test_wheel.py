"""The wheel, built and installed in a fresh environment, away from the checkout."""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
import venv
import zipfile
from dataclasses import dataclass
from pathlib import Path

import pytest

from blindfield.links.firmware import _first_whole, firmware_folder
from blindfield.model.errors import ConfigError

ROOT = Path(__file__).resolve().parents[1]
# What the checkout's own environment adds to a process must not reach the installed one.
FOREIGN_ENV = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "PYTHONHOME")}
SCRIPTS = "Scripts" if os.name == "nt" else "bin"


def run(*command: str | Path, cwd: Path) -> str:
    done = subprocess.run(
        [str(part) for part in command],
        cwd=cwd,
        env=FOREIGN_ENV,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@dataclass(frozen=True)
class Installed:
    wheel: Path
    scripts: Path
    elsewhere: Path

    def python(self, code: str) -> str:
        return run(self.scripts / "python", "-c", code, cwd=self.elsewhere).strip()


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Installed:
    folder = tmp_path_factory.mktemp("wheel")
    run(sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", folder, cwd=ROOT)
    (wheel,) = folder.glob("blindfield-*.whl")
    fresh = folder / "fresh"
    venv.create(fresh, with_pip=False)
    pip = (
        sys.executable,
        "-m",
        "pip",
        "--python",
        fresh,
        "install",
        "-q",
        "--no-deps",
        "--no-index",
    )
    run(*pip, wheel, cwd=folder)
    _lend_libraries(fresh)
    elsewhere = folder / "elsewhere"
    elsewhere.mkdir()
    return Installed(wheel, fresh / SCRIPTS, elsewhere)


def _lend_libraries(fresh: Path) -> None:
    """Let `fresh` see the libraries we have; a path in a .pth file brings no .pth files with it,
    so the editable checkout stays out."""
    ours = {sysconfig.get_path("purelib"), sysconfig.get_path("platlib")}
    base = {"base": str(fresh), "platbase": str(fresh)}
    site = Path(sysconfig.get_path("purelib", scheme="venv", vars=base))
    (site / "lent.pth").write_text("\n".join(sorted(ours)) + "\n")


def test_the_command_answers_from_a_foreign_folder(installed: Installed) -> None:
    answer = run(installed.scripts / "blindfield", "--version", cwd=installed.elsewhere)
    assert answer.split() == ["blindfield", installed.wheel.name.split("-")[1]]


def test_both_packages_come_from_the_wheel(installed: Installed) -> None:
    code = "import blindfield, fieldcore; print(blindfield.__file__, fieldcore.__file__, sep='\\n')"
    for line in installed.python(code).splitlines():
        assert Path(line).is_relative_to(installed.scripts.parent)


def test_every_module_of_the_wheel_imports(installed: Installed) -> None:
    code = (
        "import importlib, pkgutil, blindfield, fieldcore\n"
        "names = [m.name for p in (blindfield, fieldcore)\n"
        "         for m in pkgutil.walk_packages(p.__path__, p.__name__ + '.')\n"
        "         if not m.name.endswith('__main__')]\n"
        "print(len([importlib.import_module(name) for name in names]))"
    )
    assert int(installed.python(code)) > 20


def test_the_installed_firmware_is_whole(installed: Installed) -> None:
    code = "from blindfield.links.firmware import firmware_folder; print(firmware_folder())"
    folder = Path(installed.python(code))
    assert folder.is_relative_to(installed.scripts.parent)
    assert firmware_files(folder) == firmware_files(ROOT / "firmware")


def test_the_checkout_finds_its_own_firmware() -> None:
    assert firmware_folder() == ROOT / "firmware"
    assert {"main.py", "fielddevice/app.py", "fieldcore/__init__.py"} <= firmware_files(
        firmware_folder()
    ).keys()


def firmware_files(folder: Path) -> dict[str, bytes]:
    """Path inside the folder -> content, of every Python file."""
    return {f.relative_to(folder).as_posix(): f.read_bytes() for f in folder.rglob("*.py")}


def test_a_missing_firmware_is_said_with_its_remedy(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="Install blindfield again"):
        _first_whole((tmp_path, tmp_path / "firmware"))


def test_the_wheel_holds_only_what_runs(installed: Installed) -> None:
    with zipfile.ZipFile(installed.wheel) as archive:
        names = archive.namelist()
    info = f"{'-'.join(installed.wheel.name.split('-')[:2])}.dist-info"
    assert {name.split("/")[0] for name in names} == {"blindfield", "fieldcore", info}
    assert not [name for name in names if "test" in name or name.endswith((".pyc", ".mpy"))]
    assert f"{info}/licenses/LICENSE" in names
