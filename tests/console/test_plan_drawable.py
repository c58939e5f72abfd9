"""The problems that `plan` shows are those that `draw` counts on the file that it wrote."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from blindfield.console import draw, plan
from blindfield.field.starter import starter_field_text
from blindfield.logbook.book import Logbook
from blindfield.model.events import Event
from support.one_command import typed as command
from support.par_field import KEY
from support.planning import PlanDesk, one_line
from support.runs import UTC
from support.scenarios import small_field

LEAST_PROBLEMS, LEAST_KINDS, LEAST_OF_A_KIND = 60, 8, 3
OWN_KIND = """
[[drill]]
kind = "far_pair"
title = "Far pair"
purpose = "Leave the first behind."
geometry = "Two, anywhere."
timing = "Both from the start."
watch = "The way to the second."
cautions = "None."
work = ["search only"]
targets = 2
"""


@pytest.fixture
def typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> PlanDesk:
    return PlanDesk(tmp_path, monkeypatch, capsys)


def drawn(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    """What `draw --json` counts, in the shape that `plan --json` tells it."""
    status, out, error = command(draw, capsys, "--json", *words)
    assert status == 0, error
    told = json.loads(out)
    kinds = {one["kind"]: one["problems"] for one in told["kinds"] if one["problems"]}
    return {"problems": told["problems"], "kinds": kinds}


def shown(out: str) -> tuple[int, int]:
    """The problems and kinds in the line that `plan` begins with."""
    found = re.search(r"(\d+) problems? in (\d+) kinds? can be drawn", one_line(out))
    assert found is not None, out
    return int(found[1]), int(found[2])


def rows(out: str) -> dict[str, int]:
    """The table of kinds."""
    table = out[out.index("\nkind ") :].splitlines()[3:]
    ends = next(row for row, line in enumerate(table) if line.startswith("Map:"))
    found = (re.fullmatch(r"(\w+) +(\d+)", line.strip()) for line in table[:ends])
    return {one[1]: int(one[2]) for one in found if one}


@pytest.mark.parametrize("count", ["3", "6", "8"])
def test_plan_shows_what_draw_counts_on_the_file_written(
    typed: PlanDesk, tmp_path: Path, capsys: pytest.CaptureFixture[str], count: str
) -> None:
    file = tmp_path / "planned.toml"
    out = typed("--targets", count, "--write", str(file))
    counted = drawn(capsys, "--field", str(file))
    assert shown(out) == (counted["problems"], len(counted["kinds"]))
    assert rows(out) == counted["kinds"]
    assert typed.read("--targets", count)["drawable"] == counted


@pytest.mark.parametrize("range_m", ["15", "60"])
def test_both_count_for_the_same_receiver(
    typed: PlanDesk, tmp_path: Path, capsys: pytest.CaptureFixture[str], range_m: str
) -> None:
    file = tmp_path / "planned.toml"
    made = typed.read("--targets", "6", "--range", range_m, "--write", str(file))
    assert made["drawable"] == drawn(capsys, "--field", str(file), "--range", range_m)


def test_over_a_field_without_a_logbook_both_count_alike(
    typed: PlanDesk, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "field.toml").write_text(starter_field_text(small_field(4, folder=tmp_path)))
    assert typed.read()["drawable"] == drawn(capsys, "--field", str(tmp_path))
    file = tmp_path / "more.toml"
    made = typed.read("--targets", "6", "--write", str(file))
    assert made["drawable"] == drawn(capsys, "--field", str(file))


def test_what_the_draw_leaves_out_makes_no_problem(
    typed: PlanDesk, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = small_field(4, folder=tmp_path)
    (tmp_path / "field.toml").write_text(starter_field_text(place))
    before = typed.read()["drawable"]
    back = {"field": place.name, "device": "2", "state": "put back"}
    with Logbook.open(place.logbook_path, field_key=KEY) as book:
        book.append(Event(kind="state", source="person", host_epoch=bytes(8), utc=UTC, data=back))
    now = typed.read()["drawable"]
    assert now == drawn(capsys, "--field", str(tmp_path))
    assert now["problems"] < before["problems"]


def test_the_kinds_of_the_field_count_too(typed: PlanDesk, tmp_path: Path) -> None:
    (tmp_path / "drills.toml").write_text(OWN_KIND)
    assert typed.read("--targets", "3")["drawable"]["kinds"]["far_pair"] > 0


def test_the_score_is_no_count_of_problems(typed: PlanDesk) -> None:
    out = typed("--targets", "3")
    score = next(line for line in out.splitlines() if line.startswith("Score"))
    assert "problem" not in score
    assert "Objective" not in out


def test_eight_targets_and_four_starts_give_a_season_of_problems(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    status, out, error = command(plan, capsys, "--targets", "8", "--starts", "4", "--json")
    assert status == 0, error
    told = json.loads(out)["drawable"]
    enough = [kind for kind, count in told["kinds"].items() if count >= LEAST_OF_A_KIND]
    assert told["problems"] >= LEAST_PROBLEMS, told
    assert len(enough) >= LEAST_KINDS, told
