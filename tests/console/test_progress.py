"""`progress`: plain counts first, and what counts, out of a logbook."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from blindfield.console import progress
from blindfield.debrief.words import whole_text
from blindfield.logbook.book import Logbook
from blindfield.model.span import Span
from support.practised import PLACES, Practised, field_in

TEN = (700.0, 640.0, 590.0, 610.0, 520.0, 480.0, 455.0, 430.0, 410.0, 400.38)

OWN_STANDARD = """
[[standard]]
name = "two_strikes"
title = "Two targets to the second strike"
source = "invented for a test"
targets = 2
ends_on = "last strike"
limit_min = 10
area_m = [50, 50]
depth_m = [0, 1]
fail_if_missed = ["own_to_search"]
"""


@pytest.fixture
def bench(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Practised:
    return Practised(tmp_path, capsys)


@pytest.fixture(scope="module")
def ten_made(tmp_path_factory: pytest.TempPathFactory) -> Practised:
    made = Practised(tmp_path_factory.mktemp("ten"), None)  # type: ignore[arg-type]
    made.runs(TEN)
    return made


@pytest.fixture
def ten(bench: Practised, ten_made: Practised) -> Practised:
    """Ten runs of one drill, seven of them met."""
    bench.like(ten_made)
    return bench


def told(bench: Practised, *words: str) -> str:
    """What the screen says, in one line."""
    status, out, error = bench.command(progress, *words)
    assert (status, error) == (0, "")
    return " ".join(out.split())


def data(bench: Practised, *words: str) -> dict[str, Any]:
    status, out, error = bench.command(progress, "--json", *words)
    assert (status, error) == (0, "")
    read: dict[str, Any] = json.loads(out)
    return read


def test_plain_counts_come_first(ten: Practised) -> None:
    text = told(ten)
    assert "Ana: 10 runs" in text
    assert "Standard: 2 targets found within 10:00." in text
    assert "Met 7 of your last 10 comparable blind runs (95 %: 40 to 89 of 100)." in text
    assert text.index("Met 7") < text.index("The next fresh scenario")
    assert "It rests on 10 runs; one drill only; search only." in text
    assert "Digging was not part of it" in text
    blind = data(ten)["blind"]
    assert (blind["met"], blind["of_last"]) == (7, 10)
    assert blind["share_95"] == pytest.approx([0.396778, 0.892209], abs=1e-6)
    said = blind["readiness"]
    assert 0.6 < said["low"] < said["chance"] < said["high"] < 1 or said["low"] < said["chance"]


def test_below_eight_it_is_silent_and_says_how_many_more(bench: Practised) -> None:
    bench.runs(TEN[:7])
    text = told(bench)
    assert "1 more comparable blind run and the next attempt can be judged: it takes 8." in text
    assert "would pass" not in text
    assert data(bench)["blind"]["readiness"] is None


def test_a_person_with_one_run(bench: Practised) -> None:
    bench.run([200.0, 300.0])
    text = told(bench)
    assert "Ana: 1 run, the last on 2026-02-01." in text
    assert "Met the only comparable blind run" in text
    assert "7 more comparable blind runs" in text
    assert data(bench)["times"][0]["curve"] is None


def test_a_single_run_that_was_not_met(bench: Practised) -> None:
    bench.run([200.0], broken_off_s=500.0, outcome="not_met")
    assert "Not met: the only comparable blind run" in told(bench)
    assert data(bench)["times"][1]["latest_cut"]


def test_who_knows_the_places_is_kept_apart(ten: Practised) -> None:
    alone = data(ten)
    assert alone["knowing_the_places"] is None
    ten.runs([100.0] * 9, knows_places=True)
    both = data(ten)
    assert both["blind"] == alone["blind"]
    assert both["times"] == alone["times"]
    assert both["knowing_the_places"]["met"] == 9
    text = told(ten)
    assert "You know these holes: an upper bound" in text
    assert text.index("Met 7 of your last 10") < text.index("You know these holes")


def test_void_deep_and_repeated_runs_do_not_count(ten: Practised) -> None:
    before = data(ten)["blind"]
    ten.run([50.0, 50.0], outcome="void")
    ten.run([50.0, 50.0], depth_m=1.4)
    ten.run([50.0, 50.0], seed=10)  # the very problem of the tenth run
    ten.run([50.0], broken_off_s=9.0, outcome="interrupted")
    after = data(ten)["blind"]
    assert {**after, "readiness": None} == {**before, "readiness": None}
    assert after["rests_on"]["runs"] == 10


def test_a_run_that_was_cut_counts_as_longer(bench: Practised) -> None:
    bench.runs(TEN[:4])
    bench.run([250.0], broken_off_s=340.0, outcome="stopped")
    first, second, whole = data(bench)["times"]
    assert (first["runs"], first["cut"]) == (5, 0)
    assert (second["runs"], second["cut"], second["latest_cut"]) == (5, 1, True)
    assert second["latest_s"] == pytest.approx(340.0, abs=0.01)
    assert (whole["latest_s"], whole["latest_cut"]) == (pytest.approx(590.0, abs=0.01), True)
    assert "> 5:40.0" in told(bench)


def test_times_are_cut_off_at_the_last_digit_never_rounded(bench: Practised) -> None:
    for legs in ([192.48, 59.99], [192.48, 59.99], [192.48, 59.99]):
        bench.run(legs)
    text = told(bench)
    assert "3:12.4" in text
    assert "0:59.9" in text
    assert "3:12.5" not in text
    assert "1:00.0" not in text


def test_digs_stand_apart_and_leave_a_search_budget(bench: Practised) -> None:
    for number in range(8):
        bench.run([100.0 - number, 90.0], digs_s=[130.0, 140.0])
    read = data(bench)
    assert read["standard"]["work"] == "search and dig"
    assert read["blind"]["rests_on"] == {"basis": "whole", "runs": 8, "digs": 16}
    assert read["digging"]["runs"] == 16
    assert read["digging"]["median_s"] == pytest.approx(135.0, abs=0.1)
    assert [trend["leg"] for trend in read["times"]] == [1, 2, None]
    text = told(bench)
    assert "Search budget: 5:3" in text
    assert "strike to dug out" in text


def test_without_a_dig_the_dig_standard_says_so(bench: Practised) -> None:
    bench.run([100.0], digs_s=[], outcome="not_met", broken_off_s=400.0, work="search and dig")
    text = told(bench)
    assert "No dig runs: digging not tested." in text
    assert data(bench)["blind"]["dig_is_model"]


def test_a_dig_standard_practised_by_search_alone_speaks_of_the_search_part(
    bench: Practised,
) -> None:
    bench.runs([300.0] * 9, standard="two out", time_limit_s=900.0)
    bench.run(
        [150.0],
        broken_off_s=800.0,
        outcome="not_met",
        work="search and dig",
        standard="two out",
        time_limit_s=900.0,
    )
    text = told(bench)
    assert "Standard: two out." in text
    assert "The search part of the next fresh scenario:" in text
    assert "No dig runs: digging not tested." in text
    blind = data(bench)["blind"]
    budget_s = 900.0 - 2 * blind["dig_s"]
    assert blind["search_budget_s"] == pytest.approx(budget_s)
    assert f"which leaves {whole_text(budget_s)} of 15:00 to search" in text


def test_a_standard_can_be_named_and_fails_whoever_misses_its_step(bench: Practised) -> None:
    (bench.folder / "standards.toml").write_text(OWN_STANDARD)
    bench.runs([400.0] * 9)
    before = data(bench, "--standard", "two-strikes")["blind"]
    assert (before["met"], before["of_last"]) == (9, 9)
    assert "Standard: Two targets to the second strike." in told(bench, "--standard", "two strikes")
    bench.run([200.0, 200.0], ticks=[("own_to_search", "missed")])
    after = data(bench, "--standard", "two_strikes")["blind"]
    assert (after["met"], after["of_last"]) == (9, 10)
    assert after["readiness"]["chance"] < before["readiness"]["chance"] - 0.03
    free = OWN_STANDARD.replace("fail_if_missed", "# fail_if_missed")
    (bench.folder / "standards.toml").write_text(free)
    assert data(bench, "--standard", "two_strikes")["blind"]["met"] == 10


def test_a_standard_without_a_clock_has_no_readiness(ten: Practised) -> None:
    assert "nothing to be met in time" in told(ten, "--standard", "technique")
    assert data(ten, "--standard", "technique")["blind"] is None
    status, out, error = ten.command(progress, "--standard", "tecnique")
    assert (status, out) == (1, "")
    assert "Did you mean technique?" in error


def test_a_pack_dug_out_is_a_dig_and_no_search(bench: Practised) -> None:
    bench.run([200.0, 250.0])
    for seconds in (260.0, 240.0, 200.5):
        found = (Span(seconds, seconds, seconds),)
        line = {"work": "dig only", "targets": 1, "find_run_s": found}
        bench.run([], kind="dig_only", broken_off_s=seconds + 4.0, **line)
    read = data(bench)
    assert {trend["drill"] for trend in read["times"]} == {"pair"}
    assert (read["digging"]["runs"], read["digging"]["cut"]) == (3, 0)
    assert read["digging"]["latest_s"] == pytest.approx(200.5)


def test_steps_right_of_those_seen(bench: Practised) -> None:
    bench.run([200.0, 300.0])
    assert "nobody ticked any" in told(bench)
    ticks = [("own_to_search", True), ("spiral", "missed"), ("strike_called", "put right")]
    bench.run([200.0, 300.0], ticks=ticks)
    assert "Steps: 2 of 3 right in the last run that somebody ticked." in told(bench)
    bench.run([200.0, 300.0], ticks=ticks[:1], ticked_by="searcher")
    assert "Steps: 3 of 4 (1 of them by your own report) right in the last 2 runs" in told(bench)


def test_the_clock_set_back_is_told_and_order_is_by_number(bench: Practised) -> None:
    bench.run([300.0, 300.0])
    bench.run([250.0, 250.0], utc="2020-01-01T08:00:00.000000Z")
    bench.run([200.0, 200.0])
    read = data(bench)
    assert len(read["clock_set_back"]) == 1
    assert read["times"][2]["latest_s"] == pytest.approx(400.0, abs=0.01)
    assert "The clock was set back between run" in told(bench)


def test_names_in_any_script_and_however_they_are_typed(bench: Practised) -> None:
    names = ("Žofie Novotná", "Åse", "李雪", "عمر", "Ďura")
    for name in names:
        bench.run([200.0, 250.0], searcher=name)
    for name in names:
        assert f"{name}: 1 run" in told(bench, "--searcher", name)
        assert data(bench, "--searcher", name)["searcher"] == name
    assert "Åse: 1 run" in told(bench, "--searcher", "åSE")
    assert "Åse: 1 run" in told(bench, "--searcher", "A\u030ase")
    assert "Ďura: 1 run" in told(bench)  # whoever searched last


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [("Zofie Novotna", "Did you mean Žofie Novotná?"), ("Q", "Known are"), ("李血", "李雪")],
)
def test_an_unknown_searcher_gets_the_nearest_name(
    bench: Practised, asked: str, sentence: str
) -> None:
    for name in ("Žofie Novotná", "李雪"):
        bench.run([200.0, 250.0], searcher=name)
    status, out, error = bench.command(progress, "--searcher", asked)
    assert (status, out) == (1, "")
    assert sentence in error


def test_runs_without_a_name(bench: Practised) -> None:
    bench.run([200.0, 250.0], searcher="")
    assert "Runs without a name: 1 run" in told(bench)
    status, _, error = bench.command(progress, "--searcher", "Ana")
    assert status == 1
    assert "No run carries a name" in error


def test_no_run_at_all(bench: Practised) -> None:
    place = field_in(bench.folder)
    status, _, error = bench.command(progress)
    assert (status, "no logbook" in error) == (1, True)
    with Logbook.open(place.logbook_path, field_key=None):
        pass
    status, _, error = bench.command(progress)
    assert status == 1
    assert "holds no closed run yet" in error


def test_while_a_run_is_open_nothing_of_it_is_told(ten: Practised) -> None:
    before = ten.command(progress, "--json")
    ten.run([200.0, 250.0], is_open=True)
    assert ten.command(progress, "--json") == before
    assert not any(name in before[1] for name in PLACES)


def test_moments_are_iso_8601(bench: Practised) -> None:
    bench.run([200.0, 250.0])
    assert datetime.fromisoformat(data(bench)["latest_utc"]).utcoffset() is not None
