"""What the commands are typed on: a rig, one for each file, or simulated targets in process."""

from __future__ import annotations

import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from support.in_process import InProcess, commands
from support.interpreters import micropython
from support.typed import PROGRAM, Desk


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    micropython()  # absent: skipped at a desk, failed in CI
    folder = tmp_path_factory.mktemp("rig")
    rig = subprocess.Popen(
        [*PROGRAM, "rig", "start", "--targets", "3", "--folder", str(folder)],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert rig.stdout is not None
    for line in rig.stdout:
        if "Ctrl-C" in line:
            break
    yield Desk(folder)
    rig.send_signal(signal.SIGINT)
    rig.communicate(timeout=10)


@pytest.fixture
def here(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Iterator[InProcess]:
    with commands(tmp_path, capsys) as found:
        yield found
