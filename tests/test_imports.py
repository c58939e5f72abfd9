"""Imports go one way, and start-up stays light."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from support.rooms import ROW_OF, sources, violations

ROOT = Path(__file__).resolve().parents[1]


def tree(root: Path, **files: str) -> Path:
    """A made-up repository: keyword `links__serial` is host/blindfield/links/serial.py."""
    for name, text in files.items():
        parts = name.split("__")
        base = (
            "firmware" if parts[0].startswith("field") and len(parts[0]) > 5 else "host/blindfield"
        )
        path = root / base / ("/".join(parts) + ".py")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    return root


def test_this_repository_imports_one_way() -> None:
    assert violations(ROOT) == []


def test_the_rule_reads_the_real_tree() -> None:
    rooms = {package.split(".")[-1] for _, package in sources(ROOT)}
    assert {"fieldcore", "fielddevice", "model", "links", "conduct", "console"} <= rooms
    assert {"fieldcore", "model", "console"} <= ROW_OF.keys()


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("links__serial", "from blindfield.conduct.run import step\n"),
        ("links__serial", "def late():\n    import blindfield.logbook.store\n"),
        ("links__serial", "from blindfield import logbook\n"),
        ("links__serial", "from ..console import main\n"),
        ("links__deep__serial", "from ...physics import dipole\n"),
        (
            "links__serial",
            "from importlib import import_module\nimport_module('blindfield.field')\n",
        ),
        ("links__serial", "from blindfield.nowhere import x\n"),
        ("links__serial", "import fielddevice.app\n"),
        ("links__serial", "from support.rooms import ROWS\n"),
        ("physics__dipole", "from blindfield.field.plan import x\n"),
        ("scoring__steps", "from blindfield.debrief.text import x\n"),
        ("model__run", "from blindfield.physics.dipole import x\n"),
        ("nowhere__x", "import blindfield.model\n"),
        ("helpers", "x = 1\n"),
        ("__init__", "from blindfield.model.errors import BlindfieldError\n"),
        ("fieldcore__device", "from blindfield.model.errors import BlindfieldError\n"),
        ("fieldcore__device", "import time\n"),
        ("fielddevice__app", "import blindfield\nfrom blindfield.model import field\n"),
    ],
)
def test_a_made_up_violation_is_found(tmp_path: Path, name: str, text: str) -> None:
    if name == "__init__":
        (tmp_path / "host/blindfield").mkdir(parents=True)
        (tmp_path / "host/blindfield/__init__.py").write_text(text)
    else:
        tree(tmp_path, **{name: text})
    assert violations(tmp_path) != []


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("links__serial", "import serial\nfrom fieldcore.frame import encode\n"),
        ("links__serial", "from blindfield.model.errors import LinkLost\nfrom . import clock\n"),
        ("field__plan", "from blindfield.physics.dipole import x\n"),
        ("debrief__text", "from blindfield.scoring.steps import x\n"),
        ("console__main", "def run():\n    from blindfield.conduct.run import step\n"),
        ("console__main", "from blindfield import __version__\n"),
        ("model__messages", "from fieldcore import wire\n"),
        ("fieldcore__device", "import struct\nfrom fieldcore.frame import encode\n"),
        ("fielddevice__app", "import time\nfrom fieldcore.device import Device\n"),
    ],
)
def test_what_the_rule_allows_passes(tmp_path: Path, name: str, text: str) -> None:
    assert violations(tree(tmp_path, **{name: text})) == []


def test_version_loads_none_of_the_heavy_libraries() -> None:
    script = (
        "import sys\n"
        "sys.argv = ['blindfield', '--version']\n"
        "from blindfield.console.main import main\n"
        "try:\n"
        "    main()\n"
        "except SystemExit as end:\n"
        "    assert not end.code, end.code\n"
        "heavy = {'sqlalchemy', 'rich', 'serial', 'asyncio', 'cryptography', 'numpy', 'scipy',"
        " 'matplotlib'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False, timeout=60
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("blindfield ")
