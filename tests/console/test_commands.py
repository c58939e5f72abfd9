"""Commands as processes of their own on separate devices: signals, kills, two at a time."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import time
from collections.abc import Sequence
from pathlib import Path

from support.typed import PROGRAM, Desk, rearm


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


def test_a_run_on_separate_processes_is_met_and_kept(desk: Desk) -> None:
    process = desk.run("--drill", "pair", "--seed", "3", "--json")
    probe_all(desk)
    out, err = process.communicate(timeout=30)
    assert process.returncode == 0, err
    told = json.loads(out)
    assert told["outcome"] == "met"
    status, again, _ = desk.field("debrief", "--json")
    assert (status, json.loads(again)) == (0, told)


def test_silence_from_any_other_terminal_ends_the_run_and_latches(
    desk: Desk, tmp_path: Path
) -> None:
    process = desk.run("--drill", "single", "--seed", "1")
    second = desk.field("run", "--cautions-read")
    assert second[0] == 1
    assert "holds this field" in second[2]
    anywhere = Desk(tmp_path)  # without a field there, and none named
    status, out, err = anywhere.call("silence", "--json")
    assert status == 0, err
    assert sorted(json.loads(out)["silent"]) == ["1", "2", "3"]
    out, err = process.communicate(timeout=30)
    assert "Interrupted" in out, err
    assert desk.silent()
    rearm(desk)


def test_ctrl_c_pressed_twice_silences_and_keeps_the_run_as_stopped(desk: Desk) -> None:
    process = desk.run("--drill", "pair", "--seed", "2")
    for _ in range(2):
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


def test_no_field_says_how_to_get_one(tmp_path: Path) -> None:
    process = subprocess.run(
        [*PROGRAM, "devices"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert process.returncode == 1
    assert "blindfield rig" in process.stderr
    assert "Traceback" not in process.stderr


def test_a_reader_that_goes_away_gets_no_complaint(desk: Desk) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(
        [*PROGRAM, "devices", "--json", "--field", str(desk.folder)],
        stdout=writing,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    os.close(writing)
    assert (done.returncode, done.stderr) == (0, "")


def test_an_unknown_command_is_a_usage_error(tmp_path: Path) -> None:
    done = subprocess.run(
        [*PROGRAM, "dig"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
