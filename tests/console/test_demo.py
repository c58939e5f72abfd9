"""The demo: nothing but Python is needed, and every way of asking for it gives the same run."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from blindfield.console import demo
from blindfield.console.demo_walk import MODELLED
from blindfield.console.main import main

FRESH = {"run", "drawn", "started", "commitment"}


@pytest.fixture(autouse=True)
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def report(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    assert main(["demo", "--json", *words]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def test_the_same_seed_gives_the_same_run_and_another_seed_another(
    capsys: pytest.CaptureFixture[str],
) -> None:
    one, again, other = report(capsys), report(capsys), report(capsys, "--seed", "12")
    assert story(one) == story(again)
    assert one["outcome"] == "met"
    assert [find["target"] for find in one["finds"]] != []
    assert story(other) != story(one)


def story(told: dict[str, Any]) -> Any:
    """Who was found when, to the tenth that users see."""
    return [(find["target"], round(find["run_s"]["best"], 1)) for find in told["finds"]]


def test_at_a_terminal_it_is_shown_as_it_goes(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(demo, "PACE", 4000.0)
    monkeypatch.setenv("FORCE_COLOR", "1")
    assert main(["demo"]) == 0
    out = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", capsys.readouterr().out)
    assert "felt the probe" in out
    assert "Coarse search, along the flux line." in out
    assert "Pinpointing: the probe." in out
    assert out.index("felt the probe") < out.index("2 of 2 found")
    assert out.rstrip().endswith("(x86-64 Linux).")


def test_nothing_is_left_behind(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    report(capsys)
    assert list(tmp_path.iterdir()) == []


def test_without_the_live_view_it_says_the_cautions_once_and_what_to_do_next(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["demo", "--fast"]) == 0
    out = capsys.readouterr().out
    assert out.count("never rescue equipment") == 1
    assert MODELLED in out
    assert "2 of 2 found" in out
    assert "blindfield devices" in out
