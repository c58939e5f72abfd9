"""`blindfield stake`: a sheet and cards for whoever digs."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from support.field_commands import FieldDesk


@pytest.fixture
def desk(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> FieldDesk:
    return FieldDesk(tmp_path, monkeypatch, capsys)


def test_the_sheet_tells_pegs_diagonal_steps_and_every_hole(desk: FieldDesk) -> None:
    status, out, _ = desk.call("stake")
    assert status == 0
    assert "never for whoever searches" in out
    assert "diagonal A-C 70.71" in out
    assert "12.00 off | DA25 13.00  D 23.32  check A 32.31 | 0.70 m deep" in out
    assert all(len(line) <= 100 for line in out.splitlines())


def test_cards_are_printed_one_a_hole_with_room_to_write(desk: FieldDesk) -> None:
    _, out, _ = desk.call("stake", "--cards", "2", "--decoys", "1", "--seed", "3")
    assert "---- 1 ---- target 2" in out
    assert "---- 2 ---- decoy pit" in out
    assert out.count("as done:") == 1
    assert "--decoys 1 --seed 3" in out


def test_a_seed_drawn_by_the_program_prints_the_same_sheet_again(desk: FieldDesk) -> None:
    first = json.loads(desk.call("stake", "--decoys", "3", "--json")[1])
    again = json.loads(
        desk.call("stake", "--decoys", "3", "--seed", str(first["seed"]), "--json")[1]
    )
    assert first == again
    assert len(first["cards"]) == 6


def test_two_people_are_told_of_two_tapes(desk: FieldDesk) -> None:
    assert "Two tapes" in desk.call("stake", "--people", "2")[1]
    assert "Two tapes" not in desk.call("stake")[1]


def test_what_was_measured_replaces_what_was_planned(desk: FieldDesk) -> None:
    desk.call("depth", "2", "0.95")
    readings = ("--reading", "2 ab 20 20", "--reading", "2 a 28.28")
    assert desk.call("survey", *readings)[0] == 0
    card = json.loads(desk.call("stake", "2", "--json")[1])["cards"][0]
    assert (card["x_m"], card["y_m"]) == pytest.approx((20.0, 20.0), abs=0.01)
    assert card["depth_m"] == 0.95


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("9",), 'no target named "9"'),
        (("--decoys", "51"), "51 decoy pits are out of range"),
        (("--decoys", "-1"), "out of range"),
        (("--tape", "1"), "a tape of 1 m"),
        (("--tape", "long"), '"long" is not a length'),
    ],
)
def test_wrong_input_is_refused(desk: FieldDesk, words: tuple[str, ...], says: str) -> None:
    status, out, err = desk.call("stake", *words)
    assert (status, out) == (1, "")
    assert says in err
