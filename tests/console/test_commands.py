"""The commands as a user types them, on a rig of MicroPython processes, in real time."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

from support.interpreters import micropython

WAIT_S = 15.0
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
        process = self.start(
            "run", "--cautions-read", "--field", str(self.folder), "--minutes", "1", *words
        )
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


def rearm(desk: Desk) -> None:
    status, _, err = desk.field("rearm", "--all-are-safe")
    assert status == 0, err


def probe_all(desk: Desk, names: Sequence[str] = ("1", "2", "3")) -> None:
    time.sleep(5.0)  # nobody is there sooner
    for name in names:
        desk.rig("probe", name)
        time.sleep(0.4)


def test_devices_lists_who_answers(desk: Desk) -> None:
    status, out, _ = desk.field("devices", "--json")
    report = json.loads(out)
    assert status == 0
    assert {row["name"]: row["role"] for row in report["devices"]} == {
        "1": "target",
        "2": "target",
        "3": "target",
        "post": "post",
    }
    assert all(not row["silenced"] and row["battery_v"] > 3 for row in report["devices"])


def test_a_run_is_met_and_can_be_read_again(desk: Desk) -> None:
    process = desk.run("--drill", "pair", "--seed", "3", "--json")
    probe_all(desk)
    out, err = process.communicate(timeout=30)
    assert process.returncode == 0, err
    told = json.loads(out)
    assert told["outcome"] == "met"
    status, again, _ = desk.field("debrief", "--json")
    assert (status, json.loads(again)) == (0, told)
    status, text, _ = desk.field("debrief", "--ascii")
    assert status == 0
    assert "2 of 2 found" in text
    assert "unproven until it is calibrated" in " ".join(text.split())
    status, _, err = desk.field("debrief", "zzzz")
    assert status == 1
    assert "zzzz" in err
    status, listed, _ = desk.field("debrief", "--list")
    assert status == 0
    assert "2 of 2 found" in listed.splitlines()[0]


def test_silence_from_another_terminal_ends_the_run_and_latches(desk: Desk) -> None:
    process = desk.run("--drill", "single", "--seed", "1")
    second = desk.field("run", "--cautions-read")
    assert second[0] == 1
    assert "holds this field" in second[2]
    status, out, err = desk.field("silence", "--json")
    assert status == 0, err
    assert sorted(json.loads(out)["silent"]) == ["1", "2", "3"]
    out, err = process.communicate(timeout=30)
    assert "Interrupted" in out, err
    assert desk.silent()
    status, _, err = desk.field("run", "--cautions-read")
    assert status == 1
    assert "blindfield rearm" in err
    status, _, err = desk.field("rearm")
    assert status == 1
    assert "nobody said" in err
    rearm(desk)


@pytest.mark.parametrize("presses", [1, 2])
def test_ctrl_c_silences_and_keeps_the_run_as_stopped(desk: Desk, presses: int) -> None:
    process = desk.run("--drill", "pair", "--seed", "2")
    for _ in range(presses):
        process.send_signal(signal.SIGINT)
        time.sleep(0.02)
    out, err = process.communicate(timeout=30)
    assert process.returncode == 130, (out, err)
    assert "Traceback" not in err
    assert "Confirmed silent: 1, 2, 3." in out
    assert desk.silent()
    assert json.loads(desk.field("debrief", "--json")[1])["outcome"] == "stopped"


def test_a_killed_host_is_taken_up_by_the_next_command(desk: Desk) -> None:
    process = desk.run("--drill", "pair", "--seed", "2")
    process.kill()
    process.communicate(timeout=10)
    assert not desk.silent()
    status, out, _ = desk.field("devices", "--json")
    report = json.loads(out)
    assert status == 0
    assert "closed as interrupted" in report["recovered"][0]
    assert desk.silent()
    assert json.loads(desk.field("debrief", "--json")[1])["outcome"] == "interrupted"


def test_a_target_that_cannot_be_reached_is_named_with_place_and_time(desk: Desk) -> None:
    process = desk.run("--drill", "single", "--seed", "4")
    desk.rig("cut-link", "2")
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=40)
    desk.rig("mend-link", "2")
    assert re.search(
        r"2 at [\d.]+ m, [\d.]+ m is NOT confirmed silent; it can send until \d\d:", out
    ), err
    assert process.returncode in (3, 130)
    assert desk.field("devices")[0] == 0
    assert desk.silent()


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("run", "--cautions-read", "--drill", "stagered"), "staggered"),
        (("run", "--cautions-read", "--minutes", "99"), "out of range"),
        (("run",), "cautions were not confirmed"),
    ],
)
def test_wrong_input_gets_a_sentence_and_status_1(
    desk: Desk, words: tuple[str, ...], sentence: str
) -> None:
    status, _, err = desk.field(*words)
    assert status == 1
    assert sentence in err


def test_no_field_says_how_to_get_one(tmp_path: Path) -> None:
    process = subprocess.run(
        [*PROGRAM, "devices"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert process.returncode == 1
    assert "blindfield rig" in process.stderr
    assert "Traceback" not in process.stderr


def test_a_reader_that_goes_away_gets_no_traceback(desk: Desk) -> None:
    command = f"{' '.join(PROGRAM)} debrief --field {desk.folder} | true"
    done = subprocess.run(
        command, shell=True, capture_output=True, text=True, check=False, env=dict(os.environ)
    )
    assert "Traceback" not in done.stderr


def test_the_demo_shows_a_run_and_what_to_do_next(tmp_path: Path) -> None:
    done = subprocess.run(
        [*PROGRAM, "demo", "--fast"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("never rescue equipment") == 1
    assert "fixed script walks this run" in done.stdout
    assert "2 of 2 found" in done.stdout
    assert "blindfield devices" in done.stdout
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_command_is_a_usage_error(tmp_path: Path) -> None:
    done = subprocess.run(
        [*PROGRAM, "dig"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
