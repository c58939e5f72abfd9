"""Questions at the terminal, and a run that ends with a target out of reach."""

from __future__ import annotations

import json
import re
import signal
import time

import pytest

from blindfield.drills.catalogue import drill_named
from blindfield.drills.draw import draw
from blindfield.field.settings import load_field
from support.typed import Desk, Terminal, at_a_terminal, rearm


def test_a_target_that_cannot_be_reached_is_named_with_place_and_time(desk: Desk) -> None:
    process = desk.run("--drill", "single", "--seed", "4")
    desk.rig("cut-link", "2")
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=40)
    desk.rig("mend-link", "2")
    assert re.search(
        r"2 at [\d.]+ m, [\d.]+ m is NOT confirmed silent; it can send until \d\d:", out
    ), err
    assert process.returncode == 3  # outranks the 130 of Ctrl-C
    assert "NOT confirmed silent" in err
    assert "blindfield rearm" in err  # silence went to all, as the last thing to try
    assert desk.field("devices")[0] == 0
    assert desk.silent()
    rearm(desk)


@pytest.mark.parametrize("command", ["run", "rearm"])
def test_the_end_of_input_at_a_question_is_a_no(desk: Desk, command: str) -> None:
    with at_a_terminal(desk, command) as terminal:
        terminal.until("Type yes:")
        terminal.type("\x04")
        terminal.until("confirmed" if command == "run" else "nobody said")
        assert terminal.process.wait(timeout=10) == 1
        assert "Traceback" not in terminal.seen


@pytest.mark.parametrize("somebody_silences", [False, True])
def test_the_answer_to_a_knock_lifts_no_silence_of_somebody_else(
    desk: Desk, somebody_silences: bool
) -> None:
    words = ("--cautions-read", "--drill", "pair", "--seed", "3", "--minutes", "1")
    with at_a_terminal(desk, "run", *words) as terminal:
        terminal.until("Search")
        time.sleep(5.2)  # nobody is there sooner
        name = in_play(desk, seed=3)
        desk.rig("probe", name)
        terminal.until("Found 1")
        knock_until_heard(desk, name, terminal)
        if somebody_silences:
            begin_s = time.monotonic()
            status, out, err = desk.field("silence", "--json")
            assert status == 0, err
            assert sorted(json.loads(out)["silent"]) == ["1", "2", "3"]
            assert time.monotonic() - begin_s < 10  # answered while the question stands
        terminal.type("f\n")
        terminal.until("The same problem again")
        assert terminal.process.wait(timeout=10) == 0
    report = json.loads(desk.field("devices", "--json")[1])
    silenced = {row["name"] for row in report["devices"] if row["silenced"]}
    assert silenced == ({"1", "2", "3", "post"} if somebody_silences else set())
    rearm(desk)


def in_play(desk: Desk, *, seed: int) -> str:
    """A target that the pair drawn with this seed has in play."""
    scenario = draw(
        load_field(desk.folder / "field.toml"), drill_named("pair"), seed=seed, time_limit_s=60
    )
    return scenario.in_play[0].name


def knock_until_heard(desk: Desk, name: str, terminal: Terminal) -> None:
    """As a person does: a second of stillness, five knocks, and again when nothing happened (the
    signal model's usual knocks are taken for the pattern in some 93 of 100 tries)."""
    for _ in range(4):
        time.sleep(1.5)
        desk.rig("knock", name)
        if terminal.shows("emergency (e)?", within_s=6.0):
            return
    raise AssertionError(terminal.seen[-2000:])
