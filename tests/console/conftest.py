"""The rig that the commands are typed on: one for each file."""

from __future__ import annotations

import signal
import subprocess
from collections.abc import Iterator

import pytest

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
