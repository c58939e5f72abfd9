"""`standards`: what runs are judged by, explained, and a closed run held against one."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from blindfield.console import standards
from blindfield.scoring.standards import WHO_DECIDES, shipped
from support.one_command import typed
from support.practised import Practised

OWN = """
[[standard]]
name = "two_quick"
title = "Two in five"
source = "common practice, no source"
targets = 2
ends_on = "last strike"
limit_min = 5
area_m = [50, 50]
depth_m = [0, 1]
first_strike_by_min = 2
"""


@pytest.fixture
def bench(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Practised:
    return Practised(tmp_path, capsys)


def told(bench: Practised, *words: str) -> str:
    status, out, error = bench.command(standards, *words)
    assert (status, error) == (0, "")
    return " ".join(out.split())


def data(bench: Practised, *words: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(told(bench, *words, "--json"))
    return found


def test_the_list_needs_no_field(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    status, out, _ = typed(standards, capsys)
    assert status == 0
    assert out.endswith(f"{WHO_DECIDES}\n")
    assert all(one.title in out for one in shipped().values())
    assert typed(standards, capsys, "--field", "nowhere")[0] == 1


@pytest.mark.parametrize("name", shipped())
def test_each_is_explained_with_source_and_who_decides(bench: Practised, name: str) -> None:
    out = told(bench, name)
    assert shipped()[name].source in out
    assert out.endswith(WHO_DECIDES)


def test_technique_shows_no_clock_and_invites_to_back_up(bench: Practised) -> None:
    out = told(bench, "technique")
    assert "none is shown" in out
    assert "Back up and do it again" in out
    assert "Probe left in" in out


def test_a_fields_own_standard_is_listed_and_judges(bench: Practised) -> None:
    (bench.folder / "standards.toml").write_text(OWN)
    assert "two_quick" in told(bench)
    assert "nothing found in 2:00" in told(bench, "two_quick")
    bench.run([100.0, 150.0])
    assert data(bench, "two_quick", "--judge", "latest")["verdict"] == "met"
    bench.run([130.0, 150.0])
    verdict = data(bench, "two_quick", "--judge", "latest")
    assert verdict["verdict"] == "not met"
    assert [fail["run_s"] for fail in verdict["early_fails"]] == [120.0]


def test_a_mistake_in_the_fields_file_is_pointed_at(bench: Practised) -> None:
    (bench.folder / "standards.toml").write_text(OWN.replace("limit_min", "limit_mins"))
    status, out, error = bench.command(standards)
    assert (status, out) == (1, "")
    assert "standards.toml, line 8" in error
    assert "Did you mean limit_min?" in error


def test_a_search_alone_shows_the_budget_of_this_searchers_own_digs(bench: Practised) -> None:
    bench.run([100.0, 100.0], digs_s=[140.0, 150.0])
    bench.run([100.0, 100.0], digs_s=[130.0, 10.0], searcher="Bo")
    # Broken off in the second hole; dug out after a run that was for searching only; void.
    bench.run([100.0, 100.0], digs_s=[145.0], broken_off_s=20.0, outcome="stopped")
    bench.run([100.0, 100.0], digs_s=[300.0, 300.0], work="search only")
    bench.run([100.0, 100.0], digs_s=[300.0, 300.0], outcome="void")
    run = bench.run([150.0, 150.0])
    verdict = data(bench, "two_dug_out", "--judge", run)
    assert verdict["verdict"] == "search part met, digging not tested"
    assert verdict["search_budget"] == {
        "limit_s": 600.0,
        "holes": 2,
        "digs": 3,
        "dig_s": 145.0,
        "seconds": 310.0,
    }
    out = told(bench, "two_dug_out", "--judge", run)
    assert "Search part met, digging not tested: Two targets found and dug out" in out
    assert "Search budget 5:10" in out
    assert WHO_DECIDES in out


def test_a_run_with_digging_is_judged_whole(bench: Practised) -> None:
    bench.run([100.0, 100.0], digs_s=[140.0, 150.0])
    assert data(bench, "two_dug_out", "--judge", "latest")["verdict"] == "met"
    bench.run([200.0, 200.0], digs_s=[140.0, 150.0], outcome="not_met")
    assert data(bench, "two_dug_out", "--judge", "latest")["verdict"] == "not met"


def test_a_run_of_another_number_is_not_judged(bench: Practised) -> None:
    bench.run([100.0, 100.0])
    assert "Not this standard" in told(bench, "three_strikes", "--judge", "latest")


def test_ticks_of_the_run_are_seen(bench: Practised) -> None:
    bench.run([100.0, 100.0], ticks=[("own_to_search", "missed")])
    verdict = data(bench, "two_dug_out", "--judge", "latest")
    assert verdict["verdict"] == "not met"
    assert "Missed: Own transceiver to search." in verdict["early_fails"][0]["what"]


def test_a_run_without_a_standard_needs_one_named(bench: Practised) -> None:
    bench.run([100.0, 100.0])
    status, out, error = bench.command(standards, "--judge", "latest")
    assert (status, out) == (1, "")
    assert "Name one: two_dug_out, three_strikes, technique." in error
    bench.run([100.0, 100.0], standard="technique")
    assert data(bench, "--judge", "latest")["standard"] == "technique"


def test_an_open_run_stays_blind(bench: Practised) -> None:
    bench.run([100.0, 100.0], is_open=True)
    status, out, error = bench.command(standards, "two_dug_out", "--judge", "latest")
    assert (status, out) == (1, "")
    assert "a run is open" in error


def test_who_waits_observes_keeps_time_and_shovels(bench: Practised) -> None:
    out = told(bench, "--rotation", "Ana", "Bo", "Cem")
    assert out.startswith("run Ana Bo Cem 1 searcher observer timer 2 timer searcher observer")
    status, team, _ = bench.command(standards, "--rotation", "Ana", "Bo", "--team", "--json")
    assert status == 0
    assert json.loads(team)[0] == {"Ana": "leader", "Bo": "searcher"}
