"""`blindfield rig`, as a user types it: one process for the rig, others that act on it."""

from __future__ import annotations

import argparse
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from blindfield.console import rig
from blindfield.field.settings import load_field
from blindfield.model.errors import ConfigError, LinkAbsent, LinkBusy
from support.interpreters import micropython

ROOT = Path(__file__).resolve().parents[2]
WAIT_S = 10.0
LAUNCH = (
    "import argparse\n"
    "from blindfield.console import rig\n"
    "parser = argparse.ArgumentParser()\n"
    "rig.add_arguments(parser)\n"
    "raise SystemExit(rig.run(parser.parse_args()))\n"
)


def run(*words: object) -> int:
    parser = argparse.ArgumentParser()
    rig.add_arguments(parser)
    return rig.run(parser.parse_args([str(word) for word in words]))


def until(true: Callable[[], Any], what: str) -> None:
    deadline_s = time.monotonic() + WAIT_S
    while not true():
        assert time.monotonic() < deadline_s, what
        time.sleep(0.02)


def alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


@dataclass
class Running:
    """A rig in a process of its own; `words` are what it has printed up to its last greeting."""

    folder: Path
    process: subprocess.Popen[str]
    words: str

    def state(self, capsys: pytest.CaptureFixture[str]) -> list[dict[str, Any]]:
        capsys.readouterr()
        assert run("state", "--json", "--folder", self.folder) == 0
        found: list[dict[str, Any]] = json.loads(capsys.readouterr().out)
        return found

    def end(self, how: signal.Signals) -> tuple[int, str]:
        self.process.send_signal(how)
        rest, _ = self.process.communicate(timeout=WAIT_S)
        return self.process.returncode, rest


def started(folder: Path, *words: str) -> Running:
    micropython()  # absent, where there is none
    process = subprocess.Popen(
        [sys.executable, "-W", "error", "-c", LAUNCH, "start", "--folder", str(folder), *words],
        env={**os.environ, "PYTHONPATH": f"{ROOT / 'host'}:{ROOT / 'firmware'}"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    assert process.stdout is not None
    said = ""
    for line in process.stdout:
        said += line
        if line.startswith("Ctrl-C"):
            return Running(folder, process, said)
    process.wait()
    raise AssertionError(f"the rig did not start: {said}")


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    found = started(tmp_path / "rig", "--targets", "2")
    yield found
    if found.process.poll() is None:
        found.process.kill()
    found.process.communicate(timeout=WAIT_S)


def test_it_says_what_it_is_and_how_to_run_on_it(running: Running) -> None:
    assert "2 targets and a post" in running.words
    assert "Nothing transmits" in running.words
    assert f"blindfield run --field {running.folder / 'field.toml'}" in running.words
    field = load_field(running.folder / "field.toml")
    assert [target.name for target in field.targets] == ["1", "2"]
    assert [post.name for post in field.posts] == ["post"]
    assert oct((running.folder / "field.key").stat().st_mode & 0o777) == "0o600"


def test_acts_from_another_terminal_reach_the_devices(
    running: Running, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = ("--folder", running.folder)
    assert run("battery", "2", "3.3", *folder) == 0
    assert run("detune", "target-1", "40", *folder) == 0
    assert run("cut-link", "post", *folder) == 0
    assert run("lift", "1", *folder) == 0
    assert run("probe", "2", "--manner", "push", "--strength", "2", *folder) == 0
    one, two, post = running.state(capsys)
    assert two["battery_mv"] == 3300
    assert one["ppm"] == 40
    assert one["lifted"]
    assert not post["link"]
    assert run("state", *folder) == 0
    lines = capsys.readouterr().out.splitlines()
    assert "out of its hole" in lines[0]
    assert "3.30 V" in lines[1]
    assert "link cut" in lines[2]


def test_power_that_is_cut_is_told_and_comes_back(
    running: Running, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = ("--folder", running.folder)
    before = running.state(capsys)[1]["pid"]
    assert run("cut-power", "2", "--after", "10", *folder) == 0
    assert run("probe", "2", *folder) == 0
    until(lambda: running.state(capsys)[1]["off"], "the power did not go")
    assert run("state", *folder) == 0
    assert "off: its power was cut" in capsys.readouterr().out
    with pytest.raises(LinkAbsent, match="rig reboot 2"):
        run("probe", "2", *folder)
    assert run("reboot", "2", *folder) == 0
    until(lambda: running.state(capsys)[1]["pid"] not in (None, before), "it did not come back")
    status, rest = running.end(signal.SIGTERM)
    assert status == 0
    assert "Device 2 is off: its power was cut" in rest


def test_ctrl_c_ends_the_rig_and_its_processes(
    running: Running, capsys: pytest.CaptureFixture[str]
) -> None:
    pids = [device["pid"] for device in running.state(capsys)]
    assert all(map(alive, pids))
    status, rest = running.end(signal.SIGINT)
    assert status == 0
    assert "none of its processes is left" in rest
    assert not any(map(alive, pids))
    assert not list((running.folder / "ports").iterdir())
    with pytest.raises(ConfigError, match="No rig runs"):
        run("state", "--folder", running.folder)


def test_a_killed_rig_leaves_no_process(
    running: Running, capsys: pytest.CaptureFixture[str]
) -> None:
    pids = [device["pid"] for device in running.state(capsys)]
    running.end(signal.SIGKILL)
    until(lambda: not any(map(alive, pids)), "device processes outlive their rig")
    again = started(running.folder, "--targets", "2")
    assert "was there already" in again.words
    assert again.end(signal.SIGINT)[0] == 0


def test_one_folder_holds_one_rig(running: Running) -> None:
    with pytest.raises(LinkBusy, match=r"A rig runs in .* already"):
        run("start", "--folder", running.folder)


def test_a_wrong_name_is_named_with_the_right_ones(running: Running) -> None:
    with pytest.raises(ConfigError, match="It has: 1, 2, post"):
        run("knock", "9", "--folder", running.folder)


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(ConfigError, match="cannot be used"):
        run("start", "--folder", tmp_path / "file" / "rig")


def test_without_a_rig_it_says_how_to_start_one(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="blindfield rig start --folder"):
        run("probe", "1", "--folder", tmp_path)


@pytest.mark.parametrize(
    "words",
    [
        ("battery", "1", "-3"),
        ("battery", "1", "much"),
        ("start", "--targets", "0"),
        ("probe", "1", "gently"),
        ("probe", "1", "--strength", "nan"),
        ("probe",),
        ("dig", "1"),
    ],
)
def test_usage_errors_end_with_status_2(words: tuple[str, ...]) -> None:
    with pytest.raises(SystemExit) as ended:
        run(*words)
    assert ended.value.code == 2


def test_rig_alone_is_a_start_in_a_folder_named_rig() -> None:
    parser = argparse.ArgumentParser()
    rig.add_arguments(parser)
    args = parser.parse_args([])
    assert args.rig_command is None
    assert (args.folder, args.targets, args.post) == (Path("rig"), 6, True)


def test_the_probe_is_sharp_unless_said_otherwise() -> None:
    parser = argparse.ArgumentParser()
    rig.add_arguments(parser)
    assert parser.parse_args(["probe", "3"]).manner == "sharp"
    assert parser.parse_args(["probe", "3", "push"]).manner == "push"
    assert parser.parse_args(["probe", "3", "--manner", "miss"]).manner == "miss"
