"""Commands as a user types them, on a rig of MicroPython processes, in real time."""

from __future__ import annotations

import os
import pty
import re
import select
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

WAIT_S = 15.0
RUN = ("run", "--cautions-read", "--minutes", "1", "--countdown", "3")
PROGRAM = (sys.executable, "-m", "blindfield.console.main")


@dataclass
class Desk:
    """A rig's folder, and the commands on it."""

    folder: Path

    def start(self, *words: str) -> subprocess.Popen[str]:
        return subprocess.Popen(
            [*PROGRAM, *words],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=self.folder,
        )

    def call(self, *words: str) -> tuple[int, str, str]:
        """(status, stdout, stderr) of a command on the field."""
        process = self.start(*words)
        out, err = process.communicate(timeout=60)
        assert "Traceback" not in err, err
        return process.returncode, out, err

    def field(self, *words: str) -> tuple[int, str, str]:
        return self.call(*words, "--field", str(self.folder))

    def rig(self, *words: str) -> None:
        status, _, err = self.call("rig", *words, "--folder", str(self.folder))
        assert status == 0, err

    def run(self, *words: str) -> subprocess.Popen[str]:
        """A run as a process, once its targets took the start."""
        process = self.start(*RUN, "--field", str(self.folder), *words)
        self.until_running(process)
        return process

    def until_running(self, process: subprocess.Popen[str]) -> None:
        from blindfield.conduct.owner import ask_owner
        from blindfield.model.errors import BlindfieldError

        deadline_s = time.monotonic() + WAIT_S
        while time.monotonic() < deadline_s and process.poll() is None:
            try:
                answer = ask_owner(self.folder, "status")
            except BlindfieldError:
                answer = None
            if answer and answer.get("phase") == "running":
                time.sleep(3.2)  # the countdown
                return
            time.sleep(0.05)
        raise AssertionError(process.communicate(timeout=5))

    def silent(self) -> bool:
        """No target sends: the rig calls a target sending for a keying period after its burst."""
        time.sleep(1.4)
        return not re.search(r"sends", self.text_state())

    def text_state(self) -> str:
        return self.call("rig", "state", "--folder", str(self.folder))[1]


def rearm(desk: Desk) -> None:
    status, _, err = desk.field("rearm", "--all-are-safe")
    assert status == 0, err


@dataclass
class Terminal:
    """A command at a terminal of its own."""

    process: subprocess.Popen[bytes]
    master: int
    seen: str = ""

    def until(self, text: str) -> None:
        assert self.shows(text, within_s=WAIT_S), self.seen[-2000:]

    def shows(self, text: str, *, within_s: float) -> bool:
        deadline_s = time.monotonic() + within_s
        while text not in self.seen and time.monotonic() < deadline_s:
            if select.select([self.master], [], [], 0.1)[0]:
                self.seen += os.read(self.master, 65536).decode(errors="replace")
        return text in self.seen

    def type(self, text: str) -> None:
        os.write(self.master, text.encode())


@contextmanager
def at_a_terminal(desk: Desk, *words: str) -> Iterator[Terminal]:
    master, slave = pty.openpty()
    command = [*PROGRAM, *words, "--field", str(desk.folder)]
    process = subprocess.Popen(command, stdin=slave, stdout=slave, stderr=slave)
    os.close(slave)
    try:
        yield Terminal(process, master)
    finally:
        process.kill()
        process.wait()
        os.close(master)
