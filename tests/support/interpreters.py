"""The two interpreters the shared core must agree on, found and run."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

from support.strict import absent

FIRMWARE = Path(__file__).resolve().parents[2] / "firmware"
TIMEOUT_S = 60


def micropython() -> Path:
    """The MicroPython interpreter beside this Python, else on PATH; `absent` when there is none."""
    beside = Path(sys.executable).with_name("micropython")
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if not found:
        absent("no MicroPython interpreter (install the extra `rig`)")
    return Path(found)


def run_micropython(
    script: "Path | str", *args: str, heapsize: str = "96K", stdin: str = ""
) -> str:
    """What a script (a path, or the text of one) prints; firmware/ is on its import path.

    Raises AssertionError with the script's own words when it fails.
    """
    program = [str(script)] if isinstance(script, Path) else ["-c", script]
    command = [str(micropython()), "-X", f"heapsize={heapsize}", *program, *args]
    return _run(command, {"MICROPYPATH": f"{FIRMWARE}:.frozen"}, stdin)


def run_python(script: Path, *args: str, stdin: str = "") -> str:
    """The same script under this Python, in a process of its own."""
    command = [sys.executable, "-W", "error", str(script), *args]
    return _run(command, {"PYTHONPATH": str(FIRMWARE)}, stdin)


def _run(command: list[str], extra: dict[str, str], stdin: str) -> str:
    done = subprocess.run(
        command,
        input=stdin,
        env={**os.environ, **extra},
        capture_output=True,
        text=True,
        check=False,
        timeout=TIMEOUT_S,
    )
    assert done.returncode == 0, f"{command[-1]}: {done.stdout[-500:]}{done.stderr[-1500:]}"
    return done.stdout
