"""Standards as TOML: what is shipped, what a field adds, and every way to get one wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from blindfield.model.errors import ConfigError
from blindfield.scoring.standards import (
    OWN_FILE,
    SHIPPED_FILE,
    Standard,
    read_standards,
    shipped,
    standard_named,
    standards_of,
)
from blindfield.scoring.steps import all_steps

OWN = {
    "name": '"club_three"',
    "title": '"Three in eight"',
    "source": '"common practice, no source"',
    "targets": "3",
    "ends_on": '"last dug out"',
    "limit_min": "8.5",
    "area_m": "[40, 60]",
    "depth_m": "[0.5, 1.5]",
}


def written(folder: Path, **lines: str | None) -> Path:
    """The file of one standard; None takes a line away. Line 1 is the head."""
    path = folder / OWN_FILE
    kept = {key: value for key, value in {**OWN, **lines}.items() if value is not None}
    path.write_text("[[standard]]\n" + "".join(f"{key} = {one}\n" for key, one in kept.items()))
    return path


def refused(folder: Path, **lines: str | None) -> str:
    path = written(folder, **lines)
    with pytest.raises(ConfigError) as error:
        read_standards(path, shipped())
    assert str(path) in str(error.value)
    return str(error.value)


def test_two_and_ten_three_and_seven_and_no_clock_are_shipped() -> None:
    told = {one.name: (one.targets, one.limit_s, one.ends_on) for one in shipped().values()}
    assert told == {
        "two_dug_out": (2, 600.0, "last dug out"),
        "three_strikes": (3, 420.0, "last strike"),
        "technique": (2, None, "last strike"),
    }


def test_each_shipped_one_says_where_it_comes_from() -> None:
    assert all("common practice" in one.source for one in shipped().values())
    assert "course provider's current document decides" in SHIPPED_FILE.read_text().lower()


def test_the_head_of_the_shipped_file_documents_every_key() -> None:
    head = SHIPPED_FILE.read_text().split("\n[[standard]]")[0]
    keys = {
        line.split()[1] for line in head.splitlines() if line.startswith("#   ") and line[4] != " "
    }
    told = {name.replace("limit_s", "limit_min") for name in Standard.__dataclass_fields__}
    told = {name.replace("first_strike_by_s", "first_strike_by_min") for name in told}
    assert keys == told


def test_a_field_adds_its_own(tmp_path: Path) -> None:
    written(
        tmp_path,
        told="false",
        clock_starts='"pack closed"',
        switch_off="true",
        team='"with shovellers"',
        required_steps='["airway_first", "found_one_off"]',
        first_strike_by_min="4",
        strays_allowed="0",
        target_size_cm="[60, 40, 30]",
        target_kind='"dummy"',
        starts_with_signal="true",
    )
    known = standards_of(tmp_path)
    assert list(known) == [*shipped(), "club_three"]
    own = known["club_three"]
    assert (own.limit_s, own.depth_m, own.area_m) == (510.0, (0.5, 1.5), (40.0, 60.0))
    assert (own.told, own.clock_starts, own.first_strike_by_s) == (False, "pack closed", 240.0)
    assert (own.strays_allowed, own.target_size_cm) == (0, (60.0, 40.0, 30.0))
    assert own.required_steps == ("airway_first", "found_one_off")


def test_without_a_file_the_shipped_ones_hold(tmp_path: Path) -> None:
    assert standards_of(tmp_path) == shipped()


@pytest.mark.parametrize("typed", ["two_dug_out", "Two-dug-out", " two dug out "])
def test_a_standard_is_known_however_it_is_typed(typed: str) -> None:
    assert standard_named(typed).name == "two_dug_out"


def test_an_unknown_one_names_the_nearest() -> None:
    with pytest.raises(ConfigError, match="Did you mean three_strikes"):
        standard_named("three_strike")


def test_readiness_gets_a_goal_where_there_is_a_clock() -> None:
    goal = standard_named("two_dug_out").goal(("pair",))
    assert goal is not None
    assert (goal.work, goal.targets, goal.limit_s, goal.kinds) == (
        "search and dig",
        2,
        600.0,
        ("pair",),
    )
    assert standard_named("technique").goal() is None


# Wrong input

LINE = {key: line for line, key in enumerate(OWN, 2)}


@pytest.mark.parametrize(
    ("key", "value", "told"),
    [
        ("name", '"Two Three"', "cannot be a name"),
        ("name", '"two_dug_out"', "comes with the program"),
        ("targets", "0", "Write a whole number from 1 to 8"),
        ("targets", "true", "cannot be True"),
        ("targets", "2.0", "cannot be 2.0"),
        ("ends_on", '"last strikes"', 'Did you mean "last strike"'),
        ("limit_min", "0", "0.5 to 20"),
        ("limit_min", '"ten"', "must be a number"),
        ("area_m", "[50]", "Write 2 numbers"),
        ("area_m", "[50, 0.5]", "from 2 to 500"),
        ("depth_m", "1", "Write 2 numbers"),
        ("depth_m", "[1.5, 0.5]", "contradicts itself: no depth is from 1.5 to 0.5 m"),
        ("title", "7", "title must be text"),
    ],
)
def test_a_wrong_value_is_pointed_at(tmp_path: Path, key: str, value: str, told: str) -> None:
    error = refused(tmp_path, **{key: value})
    assert f"line {LINE[key]}:" in error
    assert told in error


@pytest.mark.parametrize("key", [key for key in OWN if key != "limit_min"])
def test_what_is_needed_is_asked_for(tmp_path: Path, key: str) -> None:
    assert f"{key} is missing" in refused(tmp_path, **{key: None})


def test_a_key_that_does_not_exist_names_the_nearest(tmp_path: Path) -> None:
    error = refused(tmp_path, requiered_steps="[]")
    assert "line 10:" in error
    assert "Did you mean required_steps?" in error


def test_a_head_that_does_not_exist_is_refused(tmp_path: Path) -> None:
    path = tmp_path / OWN_FILE
    path.write_text('[[standart]]\nname = "x"\n')
    with pytest.raises(ConfigError, match=r"line 1: .*Did you mean \[\[standard\]\]\?"):
        read_standards(path)
    path.write_text('[standard]\nname = "x"\n')
    with pytest.raises(ConfigError, match="must be a list of tables"):
        read_standards(path)


def test_a_name_is_taken_once(tmp_path: Path) -> None:
    path = written(tmp_path)
    path.write_text(path.read_text() * 2)
    with pytest.raises(ConfigError, match=r"line 11: .*already taken on line 2"):
        read_standards(path)


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        (
            {"ends_on": '"last strike"', "team": '"with shovellers"'},
            'shovellers and ends on "last strike"',
        ),
        ({"targets": "1", "switch_off": "true"}, "no other to search for"),
        ({"first_strike_by_min": "9"}, "the first strike may take 9 min and all of it 8.5 min"),
        ({"first_strike_by_min": "3", "limit_min": None}, "the standard has no clock"),
        (
            {"ends_on": '"last strike"', "required_steps": '["airway_first"]'},
            "asks for airway_first, which is a step of digging",
        ),
        ({"required_steps": '["found_one_off"]'}, "switch_off = true"),
        ({"targets": "1", "fail_if_missed": '["still_over_find"]'}, "more than one target"),
        ({"required_steps": '["backed_up"]'}, "is a plus, and it is required"),
        ({"required_steps": '["backup_method"]'}, "a run need not come to"),
    ],
)
def test_a_contradiction_is_named(tmp_path: Path, lines: dict[str, str | None], told: str) -> None:
    error = refused(tmp_path, **lines)
    assert "contradicts itself" in error
    assert told in error


def test_a_step_that_does_not_exist_names_the_nearest(tmp_path: Path) -> None:
    error = refused(tmp_path, required_steps='["airways_first"]')
    assert 'Did you mean "airway_first"?' in error
    assert "strike_called twice" in refused(
        tmp_path, required_steps='["strike_called", "strike_called"]'
    ).replace('"', "")
    assert "must be a list" in refused(tmp_path, required_steps='"strike_called"')


def test_every_step_a_shipped_standard_names_exists() -> None:
    for one in shipped().values():
        assert set(one.required_steps) | set(one.fail_if_missed) <= set(all_steps())
