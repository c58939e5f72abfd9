"""The shared core compiled as a board gets it: one .mpy per module, by mpy-cross -O2."""

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

from fieldcore import wire
from support.interpreters import FIRMWARE, run_micropython
from support.strict import absent

_HOUR = Path(__file__).with_name("device_hour.py")
_IMPORT = """
import gc
gc.collect()
before = gc.mem_alloc()
import fieldcore.device
gc.collect()
print(gc.mem_alloc() - before)
"""


def compile_core(folder: Path) -> int:
    """Compiles fieldcore into `folder`/fieldcore; the bytes of all its .mpy files together."""
    (folder / "fieldcore").mkdir()
    names = sorted(path.name for path in (FIRMWARE / "fieldcore").glob("*.py"))
    return sum(_compile(FIRMWARE, Path("fieldcore") / name, folder) for name in names)


def compile_firmware(folder: Path) -> dict[str, int]:
    """Compiles everything that a device runs into `folder`; the bytes of each .mpy by its place."""
    sizes = {}
    for path in sorted(FIRMWARE.rglob("*.py")):
        source = path.relative_to(FIRMWARE)
        (folder / source).parent.mkdir(parents=True, exist_ok=True)
        sizes[source.as_posix()] = _compile(FIRMWARE, source, folder)
    return sizes


def compile_file(source: Path, folder: Path) -> None:
    """Compiles one file of no package into `folder`."""
    _compile(source.parent, Path(source.name), folder)


def import_bytes(folder: Path) -> int:
    """Heap that the core compiled into `folder` takes once imported, in a heap of 96 KiB."""
    return int(run_micropython(_first_from(folder) + _IMPORT))


def run_device(folder: Path, mode: str) -> dict[str, Any]:
    """What support/device_hour.py, compiled too, says of the core in `folder` (96 KiB of heap)."""
    # Its numbers for its names: on a device nothing imports `wire`, whose names take 5 KB.
    text = re.sub(
        r"\bwire\.([A-Z_]+)\b", lambda found: str(getattr(wire, found[1])), _HOUR.read_text()
    )
    (folder / _HOUR.name).write_text(
        text.replace(
            "import frame, message, opening, seal, sensor, sheet, wire",
            "import frame, message, opening, seal, sensor, sheet",
        )
    )
    _compile(folder, Path(_HOUR.name), folder)
    (folder / _HOUR.name).unlink()
    flash = folder / "flash.bin"
    # Collected after each import, as fielddevice does: what compiling leaves would lie between.
    code = "import gc\nimport fieldcore.device\ngc.collect()\nimport device_hour\ngc.collect()\n"
    code += f"device_hour.main({mode!r}, {str(flash)!r})\n"
    found: dict[str, Any] = json.loads(run_micropython(_first_from(folder) + code))
    return found


def _first_from(folder: Path) -> str:
    # By its short name, as on a device: every module keeps the path that it came from.
    return f"import os, sys\nos.chdir({str(folder)!r})\nsys.path.insert(0, '')\n"


def _compile(base: Path, source: Path, folder: Path) -> int:
    out = folder / source.with_suffix(".mpy")
    command = [_compiler(), "-O2", "-s", source.as_posix(), "-o", out, base / source]
    subprocess.run(command, check=True, timeout=60)
    return out.stat().st_size


def _compiler() -> str:
    beside = Path(sys.executable).with_name("mpy-cross")
    found = str(beside) if beside.exists() else shutil.which("mpy-cross")
    if not found:
        absent("no mpy-cross (install the extra `test` on x86_64 Linux)")
    return found
