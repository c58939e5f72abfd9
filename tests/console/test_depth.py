"""`blindfield depth`, `state` and `snow`: what happens to targets, and who leaves the draw."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from blindfield.console.main import main
from support.field_commands import FieldDesk


@pytest.fixture
def desk(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> FieldDesk:
    return FieldDesk(tmp_path, monkeypatch, capsys)


def rows(desk: FieldDesk, *words: str) -> dict[str, dict[str, object]]:
    found = json.loads(desk.call("depth", "--json", *words)[1])
    return {row["name"]: row for row in found["targets"]}


def test_a_probed_depth_is_kept_with_who_and_when(desk: FieldDesk) -> None:
    status, out, _ = desk.call("depth", "3", "0.95", "--probed", "--by", "Ada")
    assert status == 0
    row = rows(desk)["3"]
    assert (row["depth_m"], row["depth_source"], row["depth_by"]) == (0.95, "probed", "Ada")
    day = str(row["depth_utc"])[:10]
    assert out == f"3: 0.95 m (probed {day} by Ada), in place\n"
    assert desk.said("depth") == [
        {
            "device": "3",
            "depth_m": 0.95,
            "means": "probed",
            "author": "Ada",
            "field": "Larch Hollow",
        }
    ]


@pytest.mark.parametrize("means", ["strike", "hole"])
def test_a_depth_read_at_a_strike_or_in_the_hole_counts_like_a_probed_one(
    desk: FieldDesk, means: str
) -> None:
    desk.call("snow", "+0.3")
    desk.call("depth", "3", "0,80", f"--{means}")
    row = rows(desk)["3"]
    assert (row["depth_m"], row["depth_source"], row["flags"]) == (0.8, means, [])


def test_without_a_name_all_depths_are_listed(desk: FieldDesk) -> None:
    out = desk.call("depth")[1]
    assert out.splitlines() == [
        "1: 0.65 m (field file), in place",
        "2: 0.70 m (field file), in place",
        "3: 0.75 m (field file), in place",
    ]


def test_new_snow_takes_deep_ones_out_of_the_draw_and_settling_lets_them_back(
    desk: FieldDesk,
) -> None:
    _, out, _ = desk.call("snow", "+0.30")
    assert "1: 0.95 m (field file, snow +0.30 m since), in place\n" in out
    assert "3: 1.05 m (field file, snow +0.30 m since), in place. NOT IN THE DRAW" in out
    assert "NOT IN THE DRAW, but for deep problems: too deep" in out
    _, out, _ = desk.call("snow", "-0.10")
    assert "NOT IN THE DRAW" not in out
    assert [data["cause"] for data in desk.said("snow")] == ["new snow", "settling"]


def test_drift_over_one_target(desk: FieldDesk) -> None:
    _, out, _ = desk.call("snow", "0.2", "--over", "2", "--cause", "drift")
    assert out.startswith("2: 0.90 m")
    assert rows(desk)["1"]["depth_m"] == 0.65


def test_the_band_of_the_standard_can_be_stated(desk: FieldDesk) -> None:
    desk.call("depth", "1", "1.20")
    assert rows(desk)["1"]["in_draw"] is False
    wide = rows(desk, "--band", "0.7", "1.5")
    assert [row["in_draw"] for row in wide.values()] == [True, True, True]
    narrow = rows(desk, "--band", "0.72", "1.5")
    assert narrow["2"]["flags"] == ["too shallow"]


def test_dug_out_leaves_and_put_back_returns_with_its_new_depth(desk: FieldDesk) -> None:
    _, out, _ = desk.call("state", "3", "dug out", "--by", "Ada")
    assert out.startswith("3: dug out 2")
    assert rows(desk)["3"]["in_draw"] is False
    desk.call("snow", "+0.5")
    _, out, _ = desk.call("state", "3", "put", "back", "1.0")
    assert out.startswith("3: 1.00 m (put back 2")
    row = rows(desk)["3"]
    assert (row["depth_m"], row["in_draw"], row["state"]) == (1.0, True, "put back")


def test_frozen_in_stays_in_the_draw_and_is_not_for_digging(desk: FieldDesk) -> None:
    _, out, _ = desk.call("state", "1", "frozen in")
    assert "frozen in (not for digging)" in out
    assert rows(desk)["1"]["in_draw"] is True
    assert desk.call("state", "1", "Settled")[0] == 0
    assert rows(desk)["1"]["state"] == "settled"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("depth", "3", "3.01"), "target 3 cannot lie 3.01 m deep"),
        (("depth", "3", "95"), "Did you mean 0.95 m"),
        (("depth", "3", "deep"), '"deep" is not a depth'),
        (("depth", "3"), "no depth was given for target 3"),
        (("depth", "9", "1"), 'no target named "9"'),
        (("depth", "3", "0.5", "--band", "1", "0"), "a band from 1 to 0 m"),
        (("depth", "3", "0.5", "--band", "a", "1"), '"a" is not a depth'),
        (("state", "3", "put back"), "how deep was target 3 put back"),
        (("state", "3", "put back", "4"), "target 3 cannot lie 4 m deep"),
        (("state", "3", "dug out", "1"), "dug out has no depth"),
        (("state", "3", "dugout"), 'Did you mean "dug out"'),
        (("state", "3", "xyzzy"), "Say one of: in place, dug out"),
        (("state", "9", "settled"), 'no target named "9"'),
        (("snow", "0"), "cannot have changed by 0 m"),
        (("snow", "4"), "cannot have changed by 4 m"),
        (("snow", "much"), '"much" is not a change'),
        (("snow", "0.1", "--over", "9"), 'no target named "9"'),
    ],
)
def test_what_cannot_be_is_refused_and_not_kept(
    desk: FieldDesk, words: tuple[str, ...], says: str
) -> None:
    status, out, err = desk.call(*words)
    assert (status, out) == (1, "")
    assert says in err
    assert desk.said("depth") == desk.said("state") == desk.said("snow") == []


def test_entries_need_no_key(desk: FieldDesk) -> None:
    desk.place.key_path.unlink()
    assert desk.call("depth", "1", "0.5")[0] == 0


@pytest.mark.parametrize("words", [("depth", "1", "0.5"), ("state", "1", "settled"), ("snow", "1")])
def test_nothing_is_entered_or_shown_while_a_run_is_open(
    desk: FieldDesk, words: tuple[str, ...]
) -> None:
    desk.open_run()
    status, out, err = desk.call(*words)
    assert (status, out) == (1, "")
    assert "a run is open" in err


@pytest.mark.parametrize("command", ["survey", "stake", "depth", "state", "snow"])
def test_each_command_explains_itself(
    desk: FieldDesk, command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as end:
        main([command, "--help"])
    assert end.value.code == 0
    text = capsys.readouterr().out
    assert "--field" in text
    assert ("for whoever digs" in " ".join(text.split()).lower()) == (
        command in ("survey", "stake")
    )
