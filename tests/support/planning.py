"""The command `plan` typed in process, in an empty folder, with little effort."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import pytest

from blindfield.console import plan
from blindfield.field.plan_search import Effort

QUICK = ("--targets", "3")


class PlanDesk:
    """`folder` is the current folder, 80 columns wide; nothing lies in it."""

    def __init__(
        self, folder: Path, patch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        self.folder = folder
        self._capsys = capsys
        patch.chdir(folder)
        patch.setenv("COLUMNS", "80")
        patch.setattr("blindfield.field.plan.EFFORT", Effort(40, 1))

    def __call__(self, *words: str) -> str:
        """What it prints; what it refuses is raised."""
        parser = argparse.ArgumentParser()
        plan.add_arguments(parser)
        self._capsys.readouterr()
        assert plan.run(parser.parse_args(words)) == 0
        return self._capsys.readouterr().out

    def read(self, *words: str) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self(*words, "--json"))
        return found


def one_line(text: str) -> str:
    return " ".join(text.split())


def map_of(out: str) -> list[str]:
    """The rows of the map in what was printed: those before the table of kinds."""
    lines = out.splitlines()
    end = next(row for row, line in enumerate(lines) if line.startswith("kind "))
    return lines[end - 18 : end]
