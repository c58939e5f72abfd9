"""Where the firmware's source lies, in a checkout and in an installed wheel."""

from __future__ import annotations

from pathlib import Path

import blindfield
from blindfield.model.errors import ConfigError


def firmware_folder() -> Path:
    """The one folder that a device runs from: `main.py`, `fielddevice/` and `fieldcore/`.

    Put alone on MICROPYPATH (with `.frozen`), or copied to a board, it is enough.
    Raises ConfigError when the installation lacks it.
    """
    return _first_whole(_candidates(Path(blindfield.__file__).resolve().parent))


def _candidates(package: Path) -> tuple[Path, ...]:
    """In a wheel the firmware is data of the package; in a checkout it stands beside host/."""
    return package / "_firmware", package.parents[1] / "firmware"


def _first_whole(folders: tuple[Path, ...]) -> Path:
    for folder in folders:
        if (folder / "main.py").is_file() and (folder / "fieldcore").is_dir():
            return folder
    raise ConfigError("The firmware's files are missing.", remedy="Install blindfield again.")
