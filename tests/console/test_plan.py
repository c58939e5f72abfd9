"""`blindfield plan` without a field: what it shows and writes, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from blindfield.field.settings import load_field
from blindfield.model.errors import BlindfieldError, ConfigError
from support.planning import QUICK, PlanDesk, map_of, one_line


@pytest.fixture
def typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> PlanDesk:
    return PlanDesk(tmp_path, monkeypatch, capsys)


def test_without_a_field_the_default_area_is_planned(typed: PlanDesk) -> None:
    out = typed(*QUICK)
    words = one_line(out)
    assert "3 targets, 4 start points: " in words
    assert " can be drawn." in words
    assert "For whoever digs, not for whoever searches." in words
    assert "Score (plans are compared by it)" in words
    assert "Sweat:" in words
    assert "common practice, no source" in words
    assert max(map(len, out.splitlines())) <= 80


def test_the_map_shows_every_target_and_start(typed: PlanDesk) -> None:
    drawn = "".join(map_of(typed(*QUICK)))
    assert drawn.count("^") == 4
    assert all(drawn.count(name) == 1 for name in "123")


def test_the_map_shows_the_corners_of_the_keep_outs(typed: PlanDesk) -> None:
    words = ("--area", "50x50", "--keep-out", "20,20 30,20 30,30 20,30")
    assert "".join(map_of(typed(*QUICK, *words))).count("x") == 4


def test_the_json_holds_the_whole_plan(typed: PlanDesk) -> None:
    made = typed.read(*QUICK)
    assert made["field"] is None
    assert made["area_m"] == [[0, 0], [50, 0], [50, 50], [0, 50]]
    assert len(made["problems"]) == 13 == sum(made["kinds"].values())
    assert made["objective"] == pytest.approx(sum(made["objective_terms"].values()), abs=0.05)
    names = [target["name"] for target in made["targets"]]
    assert [hole["name"] for hole in made["digging_order"]] == names == ["1", "2", "3"]
    assert made["minutes"] == pytest.approx(
        10 + sum(hole["minutes"] for hole in made["digging_order"]), abs=0.3
    )
    assert set(made["kinds"]) >= set(made["absent"])


def test_the_seed_decides(typed: PlanDesk) -> None:
    one, again, other = (typed(*QUICK, "--json", "--seed", seed) for seed in "445")
    assert one == again
    assert json.loads(one)["targets"] != json.loads(other)["targets"]


def test_a_plan_written_is_read_again_as_planned(typed: PlanDesk, tmp_path: Path) -> None:
    file = tmp_path / "meadow.toml"
    out = one_line(typed(*QUICK, "--write", str(file)))
    assert "1, 2, 3 in it are placeholders" in out
    assert "simulated devices" in out
    assert "# Placeholders" in file.read_text()
    made = typed.read(*QUICK)
    place = load_field(file)
    assert [(t.name, t.x_m, t.y_m, t.depth_m) for t in place.targets] == [
        (t["name"], t["x_m"], t["y_m"], t["depth_m"]) for t in made["targets"]
    ]
    assert [(s.name, s.x_m, s.y_m) for s in place.start_points] == [
        (s["name"], s["x_m"], s["y_m"]) for s in made["starts"]
    ]


def test_what_is_told_of_a_file_is_told_in_json_too(typed: PlanDesk, tmp_path: Path) -> None:
    file = tmp_path / "two.toml"
    made = typed.read("--starter", "2", "--write", str(file))
    assert made["file"] == str(file)
    assert "placeholders" in made["told"]
    assert made["seed"] is None


def test_nothing_is_written_over(typed: PlanDesk, tmp_path: Path) -> None:
    file = tmp_path / "field.toml"
    file.write_text("mine")
    with pytest.raises(ConfigError, match="never written over"):
        typed("--starter", "2", "--write", str(tmp_path))
    assert file.read_text() == "mine"
    with pytest.raises(ConfigError, match="cannot be written"):
        typed("--starter", "2", "--write", str(tmp_path / "no" / "such.toml"))


def test_a_ground_of_any_outline_with_keep_outs_is_planned_and_written(
    typed: PlanDesk, tmp_path: Path
) -> None:
    corners = "0,0 40,0 40,15 15,15 15,40 0,40"
    words = ("--area", corners, "--keep-out", "2,2 8,2 8,30 2,30", "--starts", "3")
    typed(*QUICK, *words, "--write", str(tmp_path / "bent.toml"))
    place = load_field(tmp_path / "bent.toml")
    assert len(place.area_m) == 6
    assert place.keep_outs[0].corners_m == ((2.0, 2.0), (8.0, 2.0), (8.0, 30.0), (2.0, 30.0))
    assert len(place.start_points) == 3
    for target in place.targets:
        assert target.x_m < 15.0 or target.y_m < 15.0
        assert not (2.0 <= target.x_m <= 8.0 and 2.0 <= target.y_m <= 30.0)


def test_a_rectangle_and_own_starts(typed: PlanDesk) -> None:
    made = typed.read(*QUICK, "--area", "60x30", "--start", "30,0", "--start", "0,15.5")
    assert made["area_m"] == [[0, 0], [60, 0], [60, 30], [0, 30]]
    assert [(start["x_m"], start["y_m"]) for start in made["starts"]] == [(30, 0), (0, 15.5)]


@pytest.mark.parametrize("count", [2, 3, 4])
def test_starter_layouts_are_shown_with_what_they_are_good_for(typed: PlanDesk, count: int) -> None:
    out = one_line(typed("--starter", str(count), "--people", "1"))
    assert out.startswith("Starter layout:")
    assert f"{count} targets" in out
    assert "Seed" not in out
    minutes = int(out.split("Sweat: ")[1].split(" min")[0])
    assert 20 <= minutes <= 40


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--area", "4x5"), "too small"),
        (("--area", "0,0 50,50 50,0 0,50"), "crosses itself"),
        (("--area", "0,0 50,50"), "open"),
        (("--area", "0,0 50,x 50,0"), "no number"),
        (("--area", "0,0 50 50,0"), "no place"),
        (("--area", "nanx40"), "no number"),
        (("--keep-out", "0,0 50,0 50,50 0,50"), "leave no place"),
        (("--keep-out", "40,40 60,40 60,45"), "beyond the area"),
        (("--targets", "8", "--minutes", "30"), "4 fit"),
        (("--targets", "0"), "cannot be made"),
        (("--snow", "1", "--deepest", "1"), "needs more than 1 m of snow"),
        (("--deepest", "2.5"), "beyond the limit"),
        (("--snow", "0.3"), "too little"),
        (("--people", "0"), "cannot dig"),
        (("--minutes", "0"), "no time to dig"),
        (("--deep", "9"), "cannot lie deep"),
        (("--range", "0"), "no transceiver's"),
        (("--starts", "0"), "cannot be"),
        (("--start", "70,3"), "outside the field"),
        (("--start", "3,3", "--starts", "2"), "Leave one of them out"),
        (("--range", "40", "--searcher", "Ode"), "both say"),
        (("--starter", "7"), "no starter layout"),
        (("--starter", "2", "--targets", "3"), "does not go with"),
        (("--starter", "2", "--minutes", "15"), "fit"),
        (("--apart", "-1"), "nearer than 0"),
        (("--seed", "-1"), "below zero"),
        (("--field", "nowhere.toml"), "no field file"),
    ],
)
def test_wrong_input_is_refused_in_words(
    typed: PlanDesk, words: tuple[str, ...], said: str
) -> None:
    with pytest.raises(BlindfieldError, match=said) as refused:
        typed(*words)
    assert refused.value.remedy
