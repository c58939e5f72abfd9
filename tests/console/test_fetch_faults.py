"""`blindfield fetch` when targets do not answer, die or are silenced, and what it refuses.

As in test_fetch.py, number 3 is the nearest, then 2, then 1.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterator

import pytest

from blindfield.links.keyfile import read_key
from blindfield.logbook.book import Logbook
from support.in_process import InProcess
from support.logbook_kit import with_open_run
from support.one_sending import (
    Hand,
    a_hand,
    commanding,
    dig,
    fetch,
    one_at_a_time,
    spells,
    still_lying,
    until_one_sends,
    until_quiet,
)


@pytest.fixture
def hand(monkeypatch: pytest.MonkeyPatch) -> Iterator[Hand]:
    with a_hand(monkeypatch) as found:
        yield found


# Targets that do not answer, or die


def test_one_that_does_not_answer_comes_last_by_tape_and_probe(here: InProcess, hand: Hand) -> None:
    here.sim.devices["3"].line.cut = True

    async def all_three() -> None:
        await dig(here, "2", "1")
        await asyncio.sleep(600)
        await hand.types("out")

    status, out, _ = fetch(here, script=all_three)
    assert status == 0
    said = " ".join(out.split())
    assert "3 does not answer: it comes last" in said
    assert "18.0 m along the base line from the first peg, 25.0 m up from it, 0.75 m deep" in said
    assert "spiral of 25 cm steps" in said
    assert "1.1 m deep" in said
    assert "3 of 3 counted in." in said
    assert [name for _, _, name in spells(here.sim)] == ["2", "1"]


def test_nobody_answers(here: InProcess, hand: Hand) -> None:
    for device in here.sim.devices.values():
        device.line.cut = True
    status, out, err = fetch(here, script=lambda: hand.types("out", "out", "skip"))
    assert (status, err) == (1, "")
    assert out.count("cannot be made to send") == 3
    assert "2 of 3 counted in." in out
    assert "MISSING: 1." in out
    assert here.bursts() == 0


def test_one_whose_battery_is_too_low_to_send(here: InProcess, hand: Hand) -> None:
    here.sim.devices["3"].board.mv = 1950

    async def dig_all() -> None:
        await hand.types("out")
        await dig(here, "2", "1")

    status, out, _ = fetch(here, script=dig_all)
    assert status == 0
    assert "Lowest battery: 3, 1.95 V." in out
    assert "Runs are refused below 2.2 V" in out
    assert "3 cannot be made to send: has too little battery to start." in out
    assert "25 cm steps" in out


def test_one_that_dies_while_it_sends_holds_the_next_back_until_it_is_off(
    here: InProcess, hand: Hand
) -> None:
    async def die() -> None:
        await until_one_sends(here, "3")
        await asyncio.sleep(30)
        here.sim.devices["3"].power_off()
        await asyncio.sleep(60)
        assert "3 is out of reach" in here.seen()
        await hand.types("out")  # dug out by tape and probe
        await asyncio.sleep(60)
        assert not here.sim.sending("2")  # nobody knows yet that number 3 is dead
        await hand.types("what now", "off")
        await dig(here, "2", "1")

    status, out, _ = fetch(here, script=die)
    assert status == 0, out
    assert one_at_a_time(here.sim)
    assert "Now without an answer: 3." in out
    assert still_lying(here) == []


def test_one_out_of_reach_that_sends_on_holds_the_next_back_until_it_cannot(
    here: InProcess, hand: Hand
) -> None:
    async def cut() -> None:
        await until_one_sends(here, "3")
        await asyncio.sleep(30)
        here.sim.devices["3"].line.cut = True
        await asyncio.sleep(30)
        await hand.types("out")  # it is out, but lies on the snow as it lay in it, and sends
        await until_quiet(here, "3")
        await dig(here, "2", "1")

    status, out, _ = fetch(here, script=cut)
    assert status == 0, out
    assert one_at_a_time(here.sim)
    first = spells(here.sim)[0]
    assert 1190 < first[1] - first[0] <= 1200


def test_one_out_of_reach_rests_when_it_is_lifted(here: InProcess, hand: Hand) -> None:
    lifted_s = 0.0

    async def cut() -> None:
        nonlocal lifted_s
        await until_one_sends(here, "3")
        here.sim.devices["3"].line.cut = True
        await asyncio.sleep(60)
        here.sim.lift("3")
        lifted_s = asyncio.get_running_loop().time()
        await asyncio.sleep(60)
        here.sim.devices["3"].line.cut = False
        await dig(here, "2", "1")

    status, out, _ = fetch(here, script=cut)
    assert status == 0, out
    assert "3 is in, by its tilt sensor." in out
    assert spells(here.sim)[0][1] < lifted_s + 10
    assert one_at_a_time(here.sim)


def test_one_that_restarts_goes_on_with_what_is_left_of_its_time(
    here: InProcess, hand: Hand
) -> None:
    async def reboot() -> None:
        await until_one_sends(here, "3")
        for _ in range(2):
            await asyncio.sleep(300)
            here.sim.reboot("3")
        await asyncio.sleep(900)
        await hand.types("again")
        await dig(here, "3", "2", "1")

    status, out, _ = fetch(here, script=reboot)
    assert status == 0, out
    assert out.count("3 had restarted; it sends again.") == 2
    assert "3 fell silent after its 20 min. To let it send: again." in out
    of_three = [(begun, last) for begun, last, name in spells(here.sim) if name == "3"]
    assert 1190 < of_three[-2][1] - of_three[0][0] <= 1200
    assert one_at_a_time(here.sim)


def test_one_that_restarts_again_and_again_is_left_to_the_tape(here: InProcess, hand: Hand) -> None:
    async def reboot() -> None:
        await until_one_sends(here, "3")
        for _ in range(4):
            await asyncio.sleep(60)
            here.sim.reboot("3")
        await asyncio.sleep(60)
        assert not here.sim.sending("3")
        await hand.types("stop")

    status, out, _ = fetch(here, script=reboot)
    assert status == 1
    assert "restarts again and again" in out
    assert "25 cm steps" in out


# Silence


def test_a_silenced_field_is_not_fetched_by_signal(here: InProcess, hand: Hand) -> None:
    assert here.call("silence")[0] == 0
    status, _, err = fetch(here)
    assert status == 1
    assert "blindfield rearm" in err
    assert here.bursts() == 0


@pytest.mark.parametrize("how", ["knock", "air", "button"])
def test_silence_from_elsewhere_ends_it_at_once_and_stays(
    here: InProcess, hand: Hand, how: str
) -> None:
    async def silence() -> None:
        await until_one_sends(here, "3")
        await asyncio.sleep(30)
        if how == "knock":
            here.sim.knock("1")
        elif how == "button":
            here.sim.air_range_m = 0.0  # nobody hears it: it is the computer that tells the others
            here.sim.devices["1"].press_button()
        else:
            await here.sim.medium().silence_all()

    status, out, err = fetch(here, script=silence)
    assert status == 1
    assert "was silenced" in err
    assert "blindfield rearm" in err
    assert out.count("MISSING") == 3
    assert here.silent()
    assert all(core.journal.latched for core in here.cores())
    bursts = here.bursts()
    assert fetch(here)[0] == 1
    assert here.bursts() == bursts


def test_ctrl_c_while_the_sender_is_out_of_reach_is_not_called_silent(
    here: InProcess, hand: Hand
) -> None:
    async def press() -> None:
        await until_one_sends(here, "3")
        here.sim.devices["3"].line.cut = True
        await asyncio.sleep(1)
        commanding(asyncio.all_tasks()).cancel()

    status, _, err = fetch(here, script=press)
    assert status == 3
    assert "NOT SILENT, or not known: 3 at 18 m, 25 m." in err
    assert all(core.journal.latched for core in here.cores() if core is not here.cores()[2])


# What is refused


def test_it_shows_nothing_while_a_run_is_open(here: InProcess, hand: Hand) -> None:
    with Logbook.open(here.place.logbook_path, field_key=read_key(here.place.key_path)) as book:
        with_open_run(book)
    status, out, err = fetch(here)
    assert (status, out) == (1, "")
    assert "a run is open" in err
    assert "18" not in err
    assert here.bursts() == 0
    here.call("devices")  # takes up what was left open; it silences, as it cannot be read
    here.let(lambda: asyncio.sleep(1.0))
    assert here.call("rearm", "--all-are-safe")[0] == 0
    assert fetch(here, script=lambda: dig(here, "3", "2", "1"))[0] == 0


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("fetch",), "cautions were not confirmed"),
        (("fetch", "--json"), "cautions were not confirmed"),
        (("fetch", "--cautions-read", "--from", "east flag"), "south flag, west flag"),
    ],
)
def test_wrong_input_gets_a_sentence(
    here: InProcess, hand: Hand, words: tuple[str, ...], sentence: str
) -> None:
    status, _, err = here.call(*words)
    assert status == 1
    assert sentence in err
    assert here.bursts() == 0
