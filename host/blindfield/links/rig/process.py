"""One device process on its own serial port, a pseudo-terminal."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from blindfield.links.firmware import firmware_folder

if sys.platform != "win32":
    import tty

POWER_CUT = 77
"""Exit status of a device whose power the rig cut."""

_HEAP = "256K"  # the sources are compiled on the way; a board gets them compiled
_END_S = 2.0


class DeviceProcess:
    """The firmware, running on the far end of the port that `port` names.

    `on_exit(status)` tells of an end that nobody asked for.
    """

    def __init__(
        self,
        interpreter: Path,
        folder: Path,
        port: Path,
        on_exit: Callable[[int], None],
    ) -> None:
        self.port = port
        self.errors = folder / "errors.txt"
        self._interpreter = interpreter
        self._about = folder / "device.json"
        self._on_exit = on_exit
        self._device_end = self._host_end = -1
        self._process: asyncio.subprocess.Process | None = None
        self._watch: asyncio.Task[None] | None = None

    @property
    def line(self) -> int:
        """The descriptor of the host's end, for whoever joins several devices to one pair."""
        return self._host_end

    @property
    def running(self) -> bool:
        return self._process is not None

    @property
    def pid(self) -> int | None:
        return self._process.pid if self._process else None

    def open_port(self) -> None:
        """Makes the port and its name, which stay over every restart of the process.

        This side keeps the host's end open too: with nobody on it, the device would read an error
        whenever a program lets go of the port.
        """
        self._device_end, self._host_end = os.openpty()
        tty.setraw(self._host_end)
        os.set_blocking(self._device_end, False)
        self.port.parent.mkdir(parents=True, exist_ok=True)
        self.port.unlink(missing_ok=True)
        self.port.symlink_to(os.ttyname(self._host_end))

    async def start(self, about: Mapping[str, Any], environment: Mapping[str, str]) -> None:
        """Runs the firmware as the device that `about` describes."""
        self._about.write_text(json.dumps(about))
        firmware = firmware_folder()
        with self.errors.open("ab") as errors:
            self._process = await asyncio.create_subprocess_exec(
                self._interpreter, "-X", f"heapsize={_HEAP}", firmware / "main.py",
                stdin=self._device_end,
                stdout=self._device_end,
                stderr=errors,
                env={
                    **environment,
                    "MICROPYPATH": f"{firmware}:.frozen",
                    "BLINDFIELD_DEVICE": str(self._about),
                },
                start_new_session=True,  # Ctrl-C is for the rig, which ends its devices itself
            )  # fmt: skip
        self._watch = asyncio.create_task(self._wait(self._process))

    async def _wait(self, process: asyncio.subprocess.Process) -> None:
        status = await process.wait()
        if self._process is process:
            self._process = None
            self._on_exit(status)

    async def kill(self) -> None:
        """Ends the process as a power cut would; what waited on the line for it is lost."""
        process, self._process = self._process, None
        if process is not None:
            with contextlib.suppress(ProcessLookupError):
                process.kill()
        if self._watch is not None:
            await asyncio.wait_for(self._watch, _END_S)
            self._watch = None
        with contextlib.suppress(BlockingIOError):
            while os.read(self._device_end, 4096):
                pass

    async def close(self) -> None:
        """Ends the process and takes its port away."""
        if self._device_end < 0:
            return
        await self.kill()
        self.port.unlink(missing_ok=True)
        os.close(self._device_end)
        os.close(self._host_end)
        self._device_end = self._host_end = -1

    def last_words(self) -> str:
        """The last line the program wrote as it failed, or nothing."""
        lines = self.errors.read_text(errors="replace").split("\n") if self.errors.exists() else []
        return next((line.strip() for line in reversed(lines) if line.strip()), "")
