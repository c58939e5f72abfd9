"""`blindfield range` as it is typed, on simulated targets: readings, what is kept, silence."""

from __future__ import annotations

import asyncio
import dataclasses
import json
from collections.abc import Iterator

import pytest

from blindfield.logbook.book import Logbook
from blindfield.model.events import Event
from support.in_process import InProcess, Script
from support.logbook_kit import with_open_run
from support.one_sending import Hand, a_hand, commanding, guarded, spells, until_one_sends

READINGS = ("--reading", "42/38", "--reading", "41/37", "--reading", "43/39")
WALKED = ("42", "38", "41", "37", "43", "39")


@pytest.fixture
def hand(monkeypatch: pytest.MonkeyPatch) -> Iterator[Hand]:
    with a_hand(monkeypatch) as found:
        yield found


def walk(here: InProcess, *words: str, script: Script | None = None) -> tuple[int, str, str]:
    return here.call("range", "--cautions-read", *words, script=script and guarded(script))


def kept_tests(here: InProcess) -> list[Event]:
    with Logbook.open(here.place.logbook_path, field_key=None) as book:
        return [event for event in book.events_of(None) if event.kind == "receive_range"]


def test_three_passes_give_range_spread_and_strip(here: InProcess, hand: Hand) -> None:
    async def type_them() -> None:
        await until_one_sends(here, "3")  # the nearest to the first start point
        await hand.types(*WALKED, "", apart_s=60)

    who = ("--searcher", "Ирина", "--transceiver", "drei Antennen")
    status, out, err = walk(here, *who, script=type_them)
    assert (status, err) == (0, "")
    assert "18.0 m along the base line" in out
    assert "mean 40.0 m, spread 2.4 m, farthest 43.0 m; search strip 44.4 m wide" in out
    assert "40 m and 20 m are both taught" in out
    assert "WARNING" not in out
    assert here.silent()
    assert [name for _, _, name in spells(here.sim)] == ["3"]
    [kept] = kept_tests(here)
    assert (kept.data["searcher"], kept.data["transceiver"]) == ("Ирина", "drei Antennen")
    assert kept.data["ranges_m"] == [42, 38, 41, 37, 43, 39]
    assert (kept.data["device"], kept.run_id) == ("3", None)
    status, out, _ = here.call("range", *who, *READINGS)
    assert "Before, " in out
    status, out, _ = here.call("range", "--searcher", "Ada", *READINGS)
    assert "Before, " not in out
    status, out, _ = here.call("range", "--list")
    assert (status, len(out.splitlines())) == (0, 2)
    assert len(json.loads(here.call("range", "--list", "--json")[1])) == 2


def test_few_keystrokes_and_mistakes(here: InProcess, hand: Hand) -> None:
    async def type_them() -> None:
        await until_one_sends(here, "1")
        await hand.types(
            ".", "undo", "forty", "-3", "900", "42 38", "41", "undo", "", ".", "37", "50 50",
            "undo", ".", ".", "44", "",
        )  # fmt: skip

    status, out, err = walk(here, "--target", "1", "--json", script=type_them)
    assert status == 0, err
    told = json.loads(out)
    assert told["passes"] == [
        {"lost_m": 42.0, "found_m": 38.0},
        {"lost_m": 42.0, "found_m": 37.0},
        {"lost_m": 42.0, "found_m": 37.0},
    ]
    assert told["strip_width_m"] == pytest.approx(
        2 * 0.25 ** (1 / 3) * (told["mean_m"] - 2 * told["sigma_m"])
    )
    for sentence in ('"forty" is no length', "-3 m is no receive", "900 m is no receive"):
        assert sentence in err
    assert "none yet" in err
    assert "nothing to take away" in err
    assert "Passes still wanted: 2" in err
    assert "not whole and does not count" in err


def test_too_few_passes_keep_nothing(here: InProcess, hand: Hand) -> None:
    async def type_them() -> None:
        await until_one_sends(here, "3")
        await hand.types("42 38", "41 37", "", "")

    status, _, err = walk(here, script=type_them)
    assert status == 1
    assert "too few passes (2)" in err
    assert kept_tests(here) == []
    assert here.silent()


def test_a_spread_that_leaves_no_strip_is_a_loud_warning(here: InProcess, hand: Hand) -> None:
    wild = ("--reading", "60/20", "--reading", "58/19", "--reading", "61/22")
    status, out, _ = here.call("range", *wild)
    assert status == 0
    assert "WARNING: the spread is so large that no search strip is left" in out
    assert "search strip" not in out.splitlines()[0] or "no search strip" in out.splitlines()[0]
    assert here.bursts() == 0


# The target fails


def test_a_target_that_dies_in_the_middle_keeps_only_what_was_sure(
    here: InProcess, hand: Hand
) -> None:
    async def die() -> None:
        await until_one_sends(here, "3")
        await hand.types("42 38", "41 37", "43 39", apart_s=30)
        here.sim.devices["3"].power_off()
        await hand.types("4", "4", "", apart_s=30)  # lost near it, for it is dead

    status, out, err = walk(here, script=die)
    assert status == 3  # nobody can confirm that a dead target is silent
    assert "NOT SILENT, or not known: 3 at " in err
    assert "3 is out of reach" in out
    assert "Passes left out: 1." in out
    assert kept_tests(here)[0].data["ranges_m"] == [42, 38, 41, 37, 43, 39]


def test_a_target_that_restarts_ends_the_test_with_the_passes_before(
    here: InProcess, hand: Hand
) -> None:
    async def reboot() -> None:
        await until_one_sends(here, "3")
        await hand.types("42 38", "41 37", "43 39", "44", apart_s=30)
        here.sim.reboot("3")
        await asyncio.sleep(30)

    status, out, err = walk(here, script=reboot)
    assert (status, err) == (0, "")
    assert "3 does not send any more" in out
    assert kept_tests(here)[0].data["ranges_m"] == [42, 38, 41, 37, 43, 39]


def test_passes_walked_while_it_fell_silent_out_of_reach_are_left_out(
    here: InProcess, hand: Hand
) -> None:
    here.write(dataclasses.replace(here.place, lease_s=30.0))

    async def away() -> None:
        await until_one_sends(here, "3")
        await hand.types("42 38", "41 37", apart_s=10)
        here.sim.cut_link("3")
        await asyncio.sleep(40)
        assert not here.sim.sending("3")
        await hand.types("4 4", apart_s=20)
        here.sim.mend_link("3")
        await asyncio.sleep(60)

    status, out, err = walk(here, script=away)
    assert status == 1
    assert "3 does not send any more" in out
    assert "Passes left out: 1." in out
    assert "too few passes (2)" in err


def test_silence_in_the_middle_ends_it_and_stays(here: InProcess, hand: Hand) -> None:
    async def silence() -> None:
        await until_one_sends(here, "3")
        await hand.types(*WALKED)
        await here.sim.medium().silence_all()

    status, _, err = walk(here, script=silence)
    assert status == 1
    assert "was silenced" in err
    assert here.silent()
    assert kept_tests(here) == []
    assert "blindfield rearm" in walk(here)[2]


def test_ctrl_c_silences(here: InProcess, hand: Hand) -> None:
    async def press() -> None:
        await until_one_sends(here, "3")
        commanding(asyncio.all_tasks()).cancel()

    status, _, _ = walk(here, script=press)
    assert status == 130
    assert here.silent()
    assert kept_tests(here) == []


# What is refused


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ((), "cautions were not confirmed"),
        (("--cautions-read", "--target", "9"), 'no target named "9"'),
        (("--reading", "42/38", "--reading", "41/37"), "too few passes (2)"),
        (("--reading", "42"), "is no pass"),
        (("--reading", "far/near"), "is no length"),
        (("--reading", "42/900"), "no receive range"),
        (("--searcher", "\x07", *READINGS), "no name of a searcher"),
        (("--transceiver", " ", *READINGS), "no name of a transceiver"),
        (("--list",), "no range test is kept yet"),
    ],
)
def test_wrong_input_gets_a_sentence_and_nothing_sends(
    here: InProcess, hand: Hand, words: tuple[str, ...], sentence: str
) -> None:
    status, _, err = here.call("range", *words)
    assert status == 1
    assert sentence in err
    assert here.bursts() == 0
    assert kept_tests(here) == []


def test_nobody_answers(here: InProcess, hand: Hand) -> None:
    for device in here.sim.devices.values():
        device.line.cut = True
    status, _, err = walk(here)
    assert status == 1
    assert "no target in place answers" in err
    assert "3: does not answer" in walk(here, "--target", "3")[2]


def test_it_shows_no_place_while_a_run_is_open(here: InProcess, hand: Hand) -> None:
    with Logbook.open(here.place.logbook_path, field_key=bytes(32)) as book:
        with_open_run(book)
    status, out, err = walk(here)
    assert (status, out) == (1, "")
    assert "a run is open" in err
    assert here.bursts() == 0
