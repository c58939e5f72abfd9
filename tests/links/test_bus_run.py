"""A whole run over the shared pair, as it is typed, with a minute without one target in it."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from blindfield.links.keyfile import read_key
from blindfield.logbook.book import Logbook
from support.bus_commands import put_on_a_bus
from support.in_process import InProcess, commands

PAIR = ("--drill", "pair", "--seed", "3", "--minutes", "5")


@pytest.fixture
def here(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Iterator[InProcess]:
    with commands(tmp_path, capsys) as found:
        yield found


def test_a_run_on_the_pair_with_noise_and_a_minute_without_a_target(here: InProcess) -> None:
    sim = put_on_a_bus(here, noise=0.001)
    first, second = here.in_play("pair", 3)

    async def find_both() -> None:
        await here.until_sending()
        await asyncio.sleep(20)
        sim.cut_link(first)
        await asyncio.sleep(20)
        sim.probe(first)
        await asyncio.sleep(40)
        sim.mend_link(first)
        await asyncio.sleep(5)
        sim.probe(second)
        await asyncio.sleep(10)

    status, out, err = here.run("--json", *PAIR, script=find_both)
    assert status == 0, err
    told = json.loads(out)
    assert told["outcome"] == "met"
    key = read_key(here.place.key_path)
    with Logbook.open(here.place.logbook_path, field_key=key) as logbook:
        events = logbook.events_of(logbook.runs()[0].run_id)
    strikes = [event for event in events if event.kind == "strike"]
    assert [event.data["device"] for event in strikes] == [first, second]
    for event in strikes:
        true_s = sim.contact_s(event.data["device"])
        assert event.host_s is not None
        assert true_s is not None
        assert event.host_s.low <= true_s <= event.host_s.high
    assert here.silent()
    assert sim.notices == []


def test_silence_and_devices_over_the_pair(here: InProcess) -> None:
    put_on_a_bus(here)
    assert here.call("devices")[1].count("ready") == 3
    status, out, _ = here.call("silence")
    assert status == 0
    for name in here.targets:
        assert name in out.partition("confirmed silent:")[2]
