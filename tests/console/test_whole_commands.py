"""Whole commands on simulated targets: what they print, and what becomes of the run."""

from __future__ import annotations

import asyncio
import json
import signal

from support.in_process import InProcess

PAIR = ("--drill", "pair", "--seed", "3", "--minutes", "5")


async def find_both(here: InProcess) -> None:
    await here.until_sending()
    await asyncio.sleep(20)
    for name in here.in_play("pair", 3):
        here.sim.probe(name)
        await asyncio.sleep(10)


def test_a_run_is_met_and_can_be_read_again(here: InProcess) -> None:
    status, out, err = here.run("--json", *PAIR, script=lambda: find_both(here))
    assert status == 0, err
    told = json.loads(out)
    assert told["outcome"] == "met"
    for which in ((), (told["run"],), (told["run"][:4],)):
        status, again, _ = here.call("debrief", *which, "--json")
        assert (status, json.loads(again)) == (0, told)
    status, text, _ = here.call("debrief", "--ascii")
    assert status == 0
    assert "2 of 2 found" in text
    assert "unproven until it is calibrated" in " ".join(text.split())
    assert text.isascii()
    status, listed, _ = here.call("debrief", "--list")
    assert "2 of 2 found" in listed.splitlines()[0]
    picture = here.place.folder / "run.svg"
    status, out, err = here.call("debrief", "--json", "--picture", str(picture))
    assert (status, json.loads(out)) == (0, told)
    assert "yours" in picture.read_text()
    assert "Wrote" in err
    assert here.call("debrief", "--picture", "run.doc")[0] == 1


def test_devices_as_a_table(here: InProcess) -> None:
    status, out, _ = here.call("devices")
    assert status == 0
    for name in here.targets:
        assert any(line.split("│")[1:3] != [] and name in line for line in out.splitlines())
    assert out.count("ready") == 3
    here.call("silence")
    assert here.call("devices")[1].count("silenced: blindfield rearm") == 3


def test_silence_without_a_run_latches_until_it_is_lifted(here: InProcess) -> None:
    status, out, _ = here.call("silence")
    assert status == 0
    assert "confirmed silent: 1, 2, 3." in out
    status, _, err = here.run(*PAIR)
    assert status == 1
    assert "blindfield rearm" in err
    assert here.call("rearm")[0] == 1  # nobody sits at the terminal
    assert here.run(*PAIR)[0] == 1
    here.let(lambda: asyncio.sleep(1.0))
    assert here.call("rearm", "--all-are-safe")[0] == 0
    assert here.bursts() == 0
    assert here.run(*PAIR, script=lambda: find_both(here))[0] == 0


def test_a_silence_that_comes_after_the_rearming_is_not_lifted_by_it(here: InProcess) -> None:
    assert here.call("silence")[0] == 0
    here.let(lambda: asyncio.sleep(1.0))

    async def somebody_silences() -> None:
        while any(core.journal.latched for core in here.cores()):
            await asyncio.sleep(0.01)
        await here.sim.medium().silence_all()

    status, out, _ = here.call("rearm", "--all-are-safe", script=somebody_silences)
    assert status == 1
    assert out.count("silenced again meanwhile") == 3
    assert all(core.journal.latched for core in here.cores())


def test_silence_needs_no_key_but_then_confirms_nothing(here: InProcess) -> None:
    here.call("devices")
    here.place.key_path.unlink()
    status, out, err = here.call("silence", "--json")
    assert status == 3
    assert json.loads(out) == {"silent": [], "not_confirmed": ["1", "2", "3"]}
    assert "Knock on each by hand" in err
    assert all(core.journal.latched for core in here.cores())


def test_a_run_silenced_from_the_air_is_interrupted_and_not_a_failure_of_the_command(
    here: InProcess,
) -> None:
    async def knock_far_from_any_find() -> None:
        await here.until_sending()
        await asyncio.sleep(30)
        here.sim.knock(next(n for n in here.targets if n not in here.in_play("pair", 3)))
        await asyncio.sleep(10)

    status, out, _ = here.run(*PAIR, script=knock_far_from_any_find)
    assert status == 0
    assert "Interrupted" in out
    assert here.silent()
    assert here.run(*PAIR)[0] == 1  # latched


def test_a_run_stopped_before_its_clock_began_accuses_no_target(here: InProcess) -> None:
    """The start is given some seconds ahead; Ctrl-C falls in between."""

    async def stop() -> None:
        await asyncio.sleep(9.0)  # of ten until the start
        signal.raise_signal(signal.SIGINT)

    assert here.run(*PAIR, script=stop)[0] == 130
    told = json.loads(here.call("debrief", "--json")[1])
    followed = {cue["followed"] for target in told["targets"] for cue in target["planned"]}
    assert followed == {"not_due"}
    assert here.bursts() == 0


def test_what_was_not_found_in_time_is_not_met(here: InProcess) -> None:
    async def find_one() -> None:
        await here.until_sending()
        await asyncio.sleep(20)
        here.sim.probe(here.in_play("pair", 3)[0])

    status, out, _ = here.run("--drill", "pair", "--seed", "3", "--minutes", "0.5", script=find_one)
    assert status == 0
    assert "1 of 2 found" in out
    assert here.silent()


def test_a_run_that_ends_when_dug_out(here: InProcess) -> None:
    async def dig() -> None:
        await here.until_sending()
        await asyncio.sleep(20)
        for name in here.in_play("pair", 3):
            here.sim.probe(name)
            await asyncio.sleep(30)
            here.sim.lift(name)
            await asyncio.sleep(10)

    status, out, _ = here.run("--json", *PAIR, "--end-on", "dug-out", script=dig)
    assert status == 0
    assert json.loads(out)["outcome"] == "met"
