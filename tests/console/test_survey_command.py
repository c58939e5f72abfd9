"""`blindfield survey`: typed with gloves, piped, or as options; nothing entered is lost."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from support.field_commands import FieldDesk
from support.surveying import tape

GOOD = ("2 d 23.32", "2 DA25 13", "2 A 32,31m")
AT = (12.0, 30.0)  # target 2


@pytest.fixture
def desk(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> FieldDesk:
    return FieldDesk(tmp_path, monkeypatch, capsys)


def survey(desk: FieldDesk, *entries: str, more: tuple[str, ...] = ()) -> tuple[int, str, str]:
    options = [word for entry in entries for word in ("--reading", entry)]
    return desk.call("survey", "--by", "Ada", *options, *more)


def test_three_readings_place_a_target(desk: FieldDesk) -> None:
    status, out, err = survey(desk, *GOOD)
    assert (status, err) == (0, "")
    assert "target 2: good." in out
    assert "12.00 m, 30.00 m (+-0." in out
    assert "Placed: 2." in out
    one = desk.built().target_named("2")
    assert (one.target.x_m, one.target.y_m) == pytest.approx(AT, abs=0.02)
    assert one.place_said.author == "Ada"
    assert one.sigma_m is not None
    assert 0.05 < one.sigma_m < 0.15
    last = desk.said("placed")[-1]
    assert last["field"] == "Larch Hollow"
    assert last["readings"] == [
        ["tape", "D", 23.32],
        ["tape", "DA25", 13.0],
        ["tape", "A", 32.31],
    ]


def test_readings_of_a_target_can_be_dropped_also_those_of_an_earlier_sitting(
    desk: FieldDesk,
) -> None:
    survey(desk, "2 D 3.5", "2 DA25 44", "2 A 8.9")  # rubbish
    desk.types("drop 2", *GOOD, "drop 9", "end")
    status, out, _ = desk.call("survey", "--by", "Ada")
    assert status == 0
    assert "target 2: 3 readings dropped. Read it again." in out
    assert "target 2: good." in out
    assert "9" in out
    one = desk.built().target_named("2")
    assert (one.target.x_m, one.target.y_m) == pytest.approx(AT, abs=0.02)
    desk.types("drop 2", "undo", "drop 2", "end")
    _, out, _ = desk.call("survey", "--by", "Ada")
    assert "has no readings to drop" in out
    planned = next(target for target in desk.place.targets if target.name == "2")
    again = desk.built().target_named("2").target
    assert (again.x_m, again.y_m) == (planned.x_m, planned.y_m)  # nothing is known but the plan


def test_every_reading_is_on_disk_before_the_next_is_asked_for(desk: FieldDesk) -> None:
    survey(desk, *GOOD)
    counts = [len(data["readings"]) for data in desk.said("placed")]
    assert counts == [1, 2, 3]


def test_a_bad_reading_is_named_once_there_are_enough(desk: FieldDesk) -> None:
    status, out, _ = survey(desk, "2 D 23.32", "2 DA25 13.00", "2 A 33.31")
    assert status == 0
    assert "MEASURE AGAIN: 2." in out
    assert "2 more readings" in out
    _, out, _ = survey(desk, "2 b 48.41", "2 c 42.94")
    assert "BAD READING left out: A 33.31 (+1.0" in out
    assert "A 33.31 +100 cm" in out
    assert "MEASURE" not in out.splitlines()[-1]
    assert desk.built().target_named("2").target.x_m == pytest.approx(12.0, abs=0.02)


def test_base_line_and_offset_count_as_two_readings(desk: FieldDesk) -> None:
    _, out, _ = survey(desk, "2 ab 12 30.1", "2 a 32.31")
    assert "along AB 12.00" in out
    assert "target 2: good." in out


def test_the_hole_and_the_attitude_are_entered_beside_the_readings(desk: FieldDesk) -> None:
    status, out, _ = survey(desk, *GOOD, "2 deep 1.25", "2 lies 120 -10")
    assert status == 0
    assert "1.25 m (hole" in out
    assert "NOT IN THE DRAW, but for deep problems: too deep" in out
    target = desk.built().target_named("2").target
    assert (target.depth_m, target.antenna_azimuth_deg, target.antenna_tilt_deg) == (
        1.25,
        120.0,
        -10.0,
    )
    assert target.x_m == pytest.approx(12.0, abs=0.02)


def test_what_cannot_be_is_named_and_the_rest_kept(desk: FieldDesk) -> None:
    status, _, err = survey(desk, "2 a 32.3", "1 a -5", "2 d 23.3")
    assert status == 1
    assert err.splitlines() == [
        '--reading "1 a -5": target 1: A: a tape cannot read -5 m. Read it again.'
    ]
    assert [len(data["readings"]) for data in desk.said("placed")] == [1, 2]
    assert {data["device"] for data in desk.said("placed")} == {"2"}


def test_circles_that_never_meet_are_named_and_a_third_tape_settles_it(desk: FieldDesk) -> None:
    status, out, _ = survey(desk, "2 a 12", "2 b 20")
    assert status == 1
    assert "target 2: the tapes A 12.00 and B 20.00 never meet" in out
    assert not desk.built().target_named("2").place_measured
    assert [len(data["readings"]) for data in desk.said("placed")] == [1, 2]


def test_a_reading_twice_counts_once_and_a_file_may_be_read_again(
    desk: FieldDesk, tmp_path: Path
) -> None:
    notes = tmp_path / "notes.txt"
    notes.write_text("# target 2\n2 d 23.32\n\n2 DA25 13  # windy\n2 a 32.31\nend\n1 a 3\n")
    assert desk.call("survey", "--readings", str(notes))[0] == 0
    status, _, err = desk.call("survey", "--readings", str(notes))
    assert status == 0
    assert "notes.txt, line 2: target 2: D 23.32 is there already and counts once." in err
    assert len(desk.said("placed")) == 3


def test_a_mistake_in_a_file_is_told_with_its_line(desk: FieldDesk, tmp_path: Path) -> None:
    notes = tmp_path / "notes.txt"
    notes.write_text("2 d 23.32\n2 d\n2 a 32.31\n")
    status, _, err = desk.call("survey", "--readings", str(notes))
    assert status == 1
    assert "notes.txt, line 2: target 2, D: there is no length" in err
    assert len(desk.said("placed")) == 2
    assert desk.call("survey", "--readings", str(tmp_path / "none"))[0] == 1


def test_a_pipe_is_read_to_its_end(desk: FieldDesk) -> None:
    desk.pipes("\n".join(GOOD))
    status, out, _ = desk.call("survey")
    assert status == 0
    assert "Placed: 2." in out
    assert "Want more: 1, 3." in out


def test_at_a_terminal_numbers_alone_place_a_target(desk: FieldDesk) -> None:
    def reads(question: str) -> str:
        return f"{tape(desk.place, origin_of(question), AT).value_m:.2f}"

    desk.types(reads, reads, reads)
    status, out, _ = desk.call("survey", "2")
    assert status == 0
    assert len({origin_of(question) for question in desk.asked[:3]}) == 3
    assert desk.asked[3].startswith("All have their places")
    assert len(desk.asked) == 4
    assert "Placed: 2." in out
    assert desk.built().target_named("2").target.y_m == pytest.approx(30.0, abs=0.02)


def test_two_more_are_asked_for_only_where_three_disagree(desk: FieldDesk) -> None:
    def reads(question: str, off_m: float = 0.0) -> str:
        return f"{tape(desk.place, origin_of(question), AT, off_m).value_m:.2f}"

    desk.types(reads, lambda question: reads(question, 1.0), reads, reads, reads)
    _, out, _ = desk.call("survey", "2")
    assert desk.asked[-1].startswith("All have their places")
    assert len(desk.asked) in (5, 6)
    assert f"BAD READING left out: {origin_of(desk.asked[1])} " in out
    assert re.search(r"\(\+(0\.9[89]|1\.0[012]) m\)", out)


def origin_of(question: str) -> str:
    """The peg that a question asks a tape from."""
    return question.split()[-1].rstrip(":")


def test_the_end_of_input_is_no_error_and_loses_nothing(desk: FieldDesk) -> None:
    desk.types("2 d 23.32", "a 32.31")
    status, out, _ = desk.call("survey")
    assert status == 0
    assert "Want more: 1, 2, 3." in out
    desk.types("DA25 13")
    status, out, _ = desk.call("survey", "2")
    assert "target 2: good." in out
    assert desk.asked[-2].startswith("target 2, tape from DA25")


def test_ctrl_c_loses_nothing(desk: FieldDesk) -> None:
    desk.types("2 d 23.32", KeyboardInterrupt())
    assert desk.call("survey")[0] == 130
    assert desk.said("placed")[-1]["readings"] == [["tape", "D", 23.32]]


def test_undo_takes_the_last_entry_back_for_good(desk: FieldDesk) -> None:
    desk.types("2 d 23.32", "2 ab 12 30", "undo", "u", "undo", "end")
    status, out, _ = desk.call("survey")
    assert status == 0
    assert "along AB 12.00, off AB 30.00 taken back" in out
    assert "D 23.32 taken back" in out
    assert "nothing was read in this sitting" in out
    assert desk.said("placed")[-1]["readings"] == []
    assert not desk.built().target_named("2").place_measured


def test_enter_asks_for_another_peg_and_comes_round(desk: FieldDesk) -> None:
    desk.types(*[""] * 9, "end")
    desk.call("survey", "2")
    origins = [origin_of(question) for question in desk.asked]
    assert len(set(origins[:8])) == 8
    assert origins[8] == origins[0]


def test_another_target_can_be_gone_to_and_mistakes_ask_again(desk: FieldDesk) -> None:
    desk.types("to 3", "x", "to 9", "?", "end")
    status, out, _ = desk.call("survey")
    assert status == 0
    assert desk.asked[0].startswith("target 1")
    assert all(question.startswith("target 3") for question in desk.asked[1:])
    assert '"x" is no reading' in out
    assert 'no target named "9"' in out
    assert "3 ab 12.3 8.2" in out


def test_earlier_readings_count_until_the_target_is_put_back_or_begun_afresh(
    desk: FieldDesk,
) -> None:
    survey(desk, *GOOD)
    _, out, _ = survey(desk, "2 c 42.94")
    assert "DA25 13.00" in out
    survey(desk, "2 c 30", more=("--afresh",))
    assert desk.said("placed")[-1]["readings"] == [["tape", "C", 30.0]]
    assert desk.call("state", "2", "put", "back", "0.8")[0] == 0
    survey(desk, "2 d 23.3")
    assert desk.said("placed")[-1]["readings"] == [["tape", "D", 23.3]]


def test_json_tells_residuals_verdicts_and_what_was_refused(desk: FieldDesk) -> None:
    status, out, _ = survey(
        desk, "2 D 23.32", "2 DA25 13.00", "2 A 33.31", "1 q 3", more=("--json",)
    )
    found = json.loads(out)
    assert status == 1
    assert found["measure_again"] == ["2"]
    assert found["want_more"] == ["1", "3"]
    assert "no peg" in found["refused"][0]
    row = found["targets"][1]
    assert row["wanted"] == 2
    assert [reading["suspect"] for reading in row["readings"]] == [True] * 3
    assert row["sigma_m"] > 0.3  # wider while they disagree
    desk.pipes("")
    nothing = json.loads(desk.call("survey", "--json")[1])["targets"][0]
    assert (nothing["x_m"], nothing["readings"]) == (None, [])


def test_a_place_far_from_its_plan_is_pointed_out(desk: FieldDesk) -> None:
    _, out, _ = survey(desk, "1 d 23.32", "1 DA25 13", "1 A 32.31")
    assert "is it the right target?" in out


def test_readings_that_contradict_each_other_grossly_do_not_replace_the_plan(
    desk: FieldDesk,
) -> None:
    _, out, _ = survey(desk, "1 DA25 16.2", "1 D 46.6", "1 C 11.7")
    assert "target 1: the tapes DA25 16.20 and D 46.60 never meet" in out
    assert "MEASURE AGAIN: 1." in out
    assert not desk.built().target_named("1").place_measured


def test_places_stay_blind_while_a_run_is_open(desk: FieldDesk) -> None:
    desk.open_run()
    for words in (("survey",), ("survey", "--json"), ("stake",), ("depth",)):
        status, out, err = desk.call(*words)
        assert (status, out) == (1, "")
        assert "a run is open" in err


def test_a_run_that_opens_during_a_survey_ends_it_with_the_reading_kept(desk: FieldDesk) -> None:
    def opens(_question: str) -> str:
        desk.open_run()
        return "2 a 32.31"

    desk.types("2 d 23.32", opens, "2 DA25 13")
    status, out, err = desk.call("survey")
    assert status == 1
    assert "a run is open" in err
    assert "A 32.31" not in out
    assert len(desk.asked) == 2
    assert len(desk.said("placed")[-1]["readings"]) == 2


@pytest.mark.parametrize(
    ("option", "value"),
    [("--sigma-cm", "0"), ("--sigma-cm", "wide"), ("--tape", "2"), ("--tape", "x")],
)
def test_wrong_options_are_refused(desk: FieldDesk, option: str, value: str) -> None:
    status, _, err = desk.call("survey", option, value)
    assert status == 1
    assert "out of range" in err or "not a number" in err


def test_a_field_without_targets_has_nothing_to_survey(desk: FieldDesk) -> None:
    text = (desk.place.folder / "field.toml").read_text(encoding="utf-8")
    (desk.place.folder / "field.toml").write_text(text.partition("[[target]]\n")[0])
    status, _, err = desk.call("survey")
    assert status == 1
    assert "no targets yet" in err
    assert "no targets yet" in desk.call("stake")[1]
    assert "no targets yet" in desk.call("depth")[1]
