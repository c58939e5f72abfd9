"""What a user is told when something is wrong, by whole commands: a sentence, and nothing sends."""

from __future__ import annotations

import asyncio
import dataclasses
import errno
import json
import sqlite3
from typing import Any

import pytest
import serial

from blindfield.links.keyfile import new_key, read_key
from blindfield.links.serial_medium import SerialMedium
from blindfield.links.sim.field import SimField, sim_field_of
from blindfield.logbook.book import Logbook
from blindfield.logbook.database import Database
from blindfield.model.field import Target
from support.in_process import InProcess

PAIR = ("--drill", "pair", "--seed", "3", "--minutes", "5")


def refused(here: InProcess, *sentences: str, words: tuple[str, ...] = PAIR) -> None:
    """A run is refused with these sentences, and no carrier ever began."""
    status, out, err = here.run(*words)
    assert status == 1
    for sentence in sentences:
        assert sentence in " ".join((out + err).split())
    assert here.bursts() == 0


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("run", "--cautions-read", "--drill", "stagered"), "staggered"),
        (("run", "--cautions-read", "--minutes", "99"), "out of range"),
        (("run",), "cautions were not confirmed"),
        (("run", "--json"), "cautions were not confirmed"),
        (("debrief", "zzzz"), "zzzz"),
        (("debrief",), "no run"),
    ],
)
def test_wrong_input_gets_a_sentence_and_status_1(
    here: InProcess, words: tuple[str, ...], sentence: str
) -> None:
    here.call("devices")
    status, _, err = here.call(*words)
    assert status == 1
    assert sentence in err
    assert here.bursts() == 0


# Ports: opened by the real medium, on the virtual loop


@pytest.fixture
def port(here: InProcess) -> None:
    """The field is reached by this port only, through the real serial medium."""
    path = here.place.folder / "ports" / "target-1"
    url = f"serial:{path}"
    here.write(dataclasses.replace(here.place, media=(url,)))
    here.media = {url: lambda: SerialMedium(url, str(path), here.place.folder)}


@pytest.mark.usefixtures("port")
def test_a_port_that_is_missing(here: InProcess) -> None:
    refused(here, "There is no port", "Is it plugged in and switched on?")
    status, out, _ = here.call("devices")
    assert status == 1
    assert "There is no port" in " ".join(out.split())


@pytest.mark.parametrize(
    ("number", "sentence", "remedy"),
    [
        (errno.EBUSY, "Another program holds the port", "Close it"),
        (errno.EACCES, "You may not use the port", "group"),
    ],
)
@pytest.mark.usefixtures("port")
def test_a_port_that_is_held_or_forbidden(
    here: InProcess, monkeypatch: pytest.MonkeyPatch, number: int, sentence: str, remedy: str
) -> None:
    def refuse(*_: Any, **__: Any) -> None:
        raise serial.SerialException(number, "refused by the system")

    monkeypatch.setattr(serial, "Serial", refuse)
    refused(here, sentence, remedy)


# Devices that are not what they should be


def test_a_key_that_is_not_the_devices_own(here: InProcess) -> None:
    here.place.key_path.unlink()
    new_key(here.place.key_path)
    refused(here, "key")
    status, out, _ = here.call("devices", "--json")
    report = json.loads(out)
    assert status == 1
    assert report["absent"] == ["1", "2", "3"]
    assert len(report["troubles"]) == 3
    # Anyone may silence, and it works; without the key nothing can be confirmed.
    status, _, err = here.call("silence")
    assert status == 3
    assert "1, 2, 3" in err
    assert latched(here.sim) == ["1", "2", "3"]


def test_a_stranger_is_shown_and_never_asked_to_send(here: InProcess) -> None:
    stranger = here.place.targets[2]
    here.write(dataclasses.replace(here.place, targets=here.place.targets[:2]))
    status, out, _ = here.call("devices")
    assert status == 0
    assert f'device = "{stranger.device_id.hex()}"' in out
    rows = json.loads(here.call("devices", "--json")[1])
    assert [row["device_id"] for row in rows["strangers"]] == [stranger.device_id.hex()]

    async def find() -> None:
        await here.until_sending()
        await asyncio.sleep(20)
        for name in ("1", "2"):
            here.sim.probe(name)
            await asyncio.sleep(3)

    status, out, _ = here.run(*PAIR, script=find)
    assert status == 0
    assert "2 of 2 found" in out
    assert not here.sim.devices[stranger.name].board.carrier


def twin_of(here: InProcess, target: Target) -> SimField:
    """A second device that says it is this one, on a port of its own."""
    place = dataclasses.replace(here.place, targets=(target,))
    return sim_field_of(place, read_key(here.place.key_path), seed=99)


def test_two_ports_that_answer_with_one_device_id(here: InProcess) -> None:
    here.write(dataclasses.replace(here.place, media=("sim:", "sim:other")))
    twin = twin_of(here, here.place.targets[0])
    here.media["sim:other"] = twin.medium
    status, out, _ = here.call("devices")
    said = " ".join(out.split())
    assert status == 1
    assert "two devices answer as 1" in said
    assert "Switch one of them off" in said
    refused(here, "two devices answer as 1", "Switch one of them off")
    assert not twin.devices["1"].board.carrier
    # Silence reaches both.
    here.call("silence")
    assert latched(here.sim) == ["1", "2", "3"]
    assert latched(twin) == ["1"]
    here.let(lambda: stop(twin))


def latched(sim: SimField) -> list[str]:
    return [
        name for name, device in sim.devices.items() if device.core and device.core.journal.latched
    ]


async def stop(sim: SimField) -> None:
    sim.stop()


def test_targets_that_do_not_answer_are_named_and_left_out(here: InProcess) -> None:
    here.sim.devices["2"].line.cut = True
    status, out, _ = here.call("devices")
    assert status == 1
    assert "2: does not answer. Is it switched on and plugged in?" in " ".join(out.split())

    async def find() -> None:
        await here.until_sending()
        await asyncio.sleep(20)
        for name in ("1", "3"):
            here.sim.probe(name)
            await asyncio.sleep(3)

    status, out, _ = here.run(*PAIR, script=find)
    assert status == 0
    assert "2: does not answer and is left out." in out
    assert "2 of 2 found" in out


def test_a_cable_pulled_in_mid_run_loses_nothing(here: InProcess) -> None:
    first, second = here.in_play("pair", 3)

    async def pull() -> None:
        await here.until_sending()
        await asyncio.sleep(20)
        here.sim.cut_link(first)
        await asyncio.sleep(5)
        here.sim.probe(first)
        await asyncio.sleep(30)
        here.sim.mend_link(first)
        await asyncio.sleep(20)
        here.sim.probe(second)
        await asyncio.sleep(3)

    status, _, err = here.run("--json", *PAIR, script=pull)
    told = json.loads(here.call("debrief", "--json")[1])
    assert status == 0, err
    assert told["outcome"] == "met"
    assert [find["target"] for find in told["finds"]] == [first, second]
    assert here.silent()


# Files


def test_a_line_of_the_field_file_that_is_malformed_is_named(here: InProcess) -> None:
    path = here.place.folder / "field.toml"
    lines = path.read_text().splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith("x_m"))
    lines[at] = "x_m = six"
    path.write_text("\n".join(lines))
    refused(here, "field.toml", f"line {at + 1}")
    for command in ("devices", "silence", "rearm", "debrief"):
        status, out, err = here.call(command)
        assert status == (
            3 if command == "silence" else 1
        )  # nothing was silenced, and that is said
        assert f"line {at + 1}" in out + err


def test_a_logbook_that_another_program_holds(
    here: InProcess, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert here.call("devices")[0] == 0  # the logbook is there now
    crippled(monkeypatch, "query_only = OFF", busy_s=0.05)
    other = sqlite3.connect(here.place.logbook_path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    refused(here, "is held by another program")
    other.execute("ROLLBACK")
    other.close()


@pytest.mark.parametrize(
    ("pragma", "sentence"),
    [("query_only = ON", "cannot be written"), ("max_page_count = 1", "no room left")],
)
def test_a_logbook_that_takes_nothing(
    here: InProcess, monkeypatch: pytest.MonkeyPatch, pragma: str, sentence: str
) -> None:
    assert here.call("devices")[0] == 0
    crippled(monkeypatch, pragma)
    refused(here, sentence)


def crippled(monkeypatch: pytest.MonkeyPatch, pragma: str, **changed: float) -> None:
    """Every connection to a logbook from now on is read-only, or full, or less patient."""
    wholesome = Database.__init__

    def init(self: Database, *args: Any, **options: Any) -> None:
        wholesome(self, *args, **{**options, **changed})
        with self.reading() as connection:
            connection.exec_driver_sql(f"PRAGMA {pragma}").close()

    monkeypatch.setattr(Database, "__init__", init)


def test_a_disk_that_fills_up_in_mid_run_ends_it_in_silence(
    here: InProcess, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, _ = here.in_play("pair", 3)

    async def fill() -> None:
        await here.until_sending()
        await asyncio.sleep(10)
        assert here.sim.carrier_log(first)
        connection = books[-1].database
        with connection.reading() as reading:
            pages = reading.exec_driver_sql("PRAGMA page_count").scalar()
            reading.exec_driver_sql(f"PRAGMA max_page_count = {pages}").close()

    books = opened(monkeypatch)
    status, out, err = here.run(*PAIR, script=fill)
    assert status == 1
    assert "no room left: the disk is full" in " ".join((out + err).split())
    assert "Confirmed silent: 1, 2, 3." in out
    assert here.silent()
    # With room again the next command takes up the run.
    status, out, _ = here.call("devices")
    assert status == 0
    assert "closed as interrupted" in " ".join(out.split())


def opened(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    found: list[Any] = []
    wholesome = Logbook.open.__func__  # type: ignore[attr-defined]

    def open_(cls: Any, *args: Any, **options: Any) -> Any:
        found.append(wholesome(cls, *args, **options))
        return found[-1]

    monkeypatch.setattr(Logbook, "open", classmethod(open_))
    return found
