"""The rig: the true firmware in processes of its own, reached over its ports as a user would."""

from __future__ import annotations

import asyncio
import os
import signal
import struct
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from blindfield.links.client import DeviceClient
from blindfield.links.keyfile import read_key
from blindfield.links.records import JournalRecord, decode
from blindfield.links.rig import interpreter
from blindfield.links.rig.rig import Rig
from blindfield.links.serial_medium import SerialChannel, SerialMedium
from blindfield.model.errors import ConfigError, LinkAbsent, LinkLost
from fieldcore import sheet, wire
from fieldcore.instant import split_us, total_us
from support.interpreters import micropython

RUN_ID = b"rig run!"
STAMP_S = 0.05  # a strike's stamp against the true contact: the detector's and this machine's share
WAIT_S = 5.0


@asynccontextmanager
async def rig_in(folder: Path, **how: Any) -> AsyncIterator[Rig]:
    micropython()  # absent, where there is none
    rig = Rig(folder, **how)
    await rig.start()
    try:
        yield rig
    finally:
        await rig.stop()


@asynccontextmanager
async def client_of(rig: Rig, name: str) -> AsyncIterator[DeviceClient]:
    channel = SerialChannel(str(rig.port(name)))
    await channel.open()
    client = DeviceClient(channel, read_key(rig.folder / "field.key"), name=name)
    try:
        await client.connect()
        yield client
    finally:
        await channel.close()


async def records_of(client: DeviceClient) -> list[JournalRecord]:
    found: list[JournalRecord] = []
    journal_id, last_seq, raw = await client.fetch(0, 0)
    while raw:
        found += [decode(record) for record in raw]
        _, _, raw = await client.fetch(journal_id, found[-1].seq)
    assert found[-1].seq == last_seq
    return found


async def until(true: Any) -> None:
    """Wait for something that a device process does in its own time."""
    async with asyncio.timeout(WAIT_S):
        while not true():
            await asyncio.sleep(0.01)


async def send_now(client: DeviceClient, period_us: int = 700_000) -> None:
    """Load a sheet that sends from its start, and start it 50 ms from now."""
    assert client.hello is not None
    cues = [[wire.CUE_AT, 0, 0, True]]
    fields = [client.hello.device_id, RUN_ID, 1, period_us, 100_000, 0, 60_000, 60_000, cues]
    data = sheet.write(sheet.Sheet(fields))
    for offset in range(0, len(data), 64):
        await client.request("load", 0, offset, data[offset : offset + 64])
    await client.request("commit", 0, sheet.digest(data), 0)
    now = await client.request("clock")
    lap, ms, us = split_us(total_us(now["lap"], now["ms"], now["us"]) + 50_000)
    await client.request("start", 0, lap, ms, us, 0, 0)


# What people do to targets: one story, told once


@dataclass
class Story:
    """Target 1 got the knock pattern, 2 a sharp probe, 3 was lifted and put back, 4 nothing."""

    records: dict[str, list[JournalRecord]] = field(default_factory=dict)
    strike_off_s: float = 0.0
    hints: int = 0
    lifted: list[bool] = field(default_factory=list)


async def tell_story(folder: Path) -> Story:
    story = Story()
    async with rig_in(folder, targets=4, posts=0) as rig, client_of(rig, "2") as struck:

        def hinted() -> None:
            story.hints += 1

        struck.on_data = hinted
        await struck.sync(4)
        rig.probe("2", "sharp")
        rig.knock("target-1")
        rig.lift("3")
        story.lifted.append(rig.state()[2]["lifted"])
        await rig.quiet()
        rig.put_back("3")
        story.lifted.append(rig.state()[2]["lifted"])
        await struck.sync(4)
        story.records["2"] = await records_of(struck)
        strike = next(r for r in story.records["2"] if r.kind == "strike")
        contact_s = rig.contact_s("2")
        assert contact_s is not None
        found = struck.clock.to_host(total_us(strike.lap, strike.ms, strike.us))
        assert found.best is not None
        story.strike_off_s = found.best - contact_s
        for name in ("1", "3", "4"):
            async with client_of(rig, name) as client:
                story.records[name] = await records_of(client)
    return story


@pytest.fixture(scope="module")
def story(tmp_path_factory: pytest.TempPathFactory) -> Story:
    return asyncio.run(tell_story(tmp_path_factory.mktemp("story")))


def kinds(story: Story, name: str) -> list[str]:
    return [record.kind for record in story.records[name]]


def test_a_sharp_probe_is_a_strike_record_stamped_at_the_true_contact(story: Story) -> None:
    assert kinds(story, "2").count("strike") == 1
    assert abs(story.strike_off_s) < STAMP_S
    assert story.hints >= 1


def test_a_knock_silences_its_target_and_by_air_all_others(story: Story) -> None:
    assert "knock" in kinds(story, "1")
    causes = {
        name: [r.data["cause"] for r in records if r.kind == "silenced"]
        for name, records in story.records.items()
    }
    assert causes == {"1": ["knock"], "2": ["air"], "3": ["air"], "4": ["air"]}


def test_a_lifted_target_was_dug_out_and_is_put_back_once(story: Story) -> None:
    assert kinds(story, "3").count("dug_out") == 1
    assert story.lifted == [True, False]


def test_an_untouched_target_felt_nothing(story: Story) -> None:
    assert kinds(story, "4") == ["boot", "silenced"]


# Its ports


def test_each_port_has_the_device_that_the_field_says(tmp_path: Path) -> None:
    async def main() -> None:
        async with rig_in(tmp_path, targets=2) as rig:
            described = rig.field()
            assert [target.name for target in described.targets] == ["1", "2"]
            medium = SerialMedium(described.media[0], "ports/*", tmp_path)
            assert [c.name for c in await medium.discover()] == ["post", "target-1", "target-2"]
            for device in (*described.targets, *described.posts):
                async with client_of(rig, device.name) as client:
                    hello = client.hello
                    assert hello is not None
                    assert (hello.device_id, hello.board) == (device.device_id, "unix")
                    assert hello.role == (0 if device in described.targets else 1)
                    assert (await client.status())["battery_mv"] == 4000

    asyncio.run(main())


def test_a_reboot_keeps_port_and_journal_and_begins_a_new_clock(tmp_path: Path) -> None:
    async def main() -> None:
        async with rig_in(tmp_path, targets=1, posts=0) as rig, client_of(rig, "1") as client:
            before = client.hello
            restarts: list[bool] = []
            client.on_restart = lambda: restarts.append(True)
            rig.battery("1", 3300)
            rig.reboot("1")
            await rig.quiet()
            status = await client.status()
            assert restarts == [True]
            assert client.hello is not None
            assert before is not None
            assert client.hello.device_id == before.device_id
            assert status["clock_id"] == client.hello.clock_id != before.clock_id
            assert status["battery_mv"] == 3300
            assert [r.kind for r in await records_of(client)] == ["boot", "boot"]

    asyncio.run(main())


def test_a_cut_link_passes_nothing_until_it_is_mended(tmp_path: Path) -> None:
    async def main() -> None:
        async with rig_in(tmp_path, targets=1, posts=0) as rig, client_of(rig, "1") as client:
            rig.cut_link("1")
            with pytest.raises(LinkLost):
                await client.request("status", timeout_s=0.3)
            rig.mend_link("1")
            assert (await client.status())["message"] == "status_is"

    asyncio.run(main())


# Its carrier


def test_the_carrier_is_keyed_by_the_sheet_and_stops_on_silence(tmp_path: Path) -> None:
    async def main() -> None:
        async with rig_in(tmp_path, targets=1, posts=0) as rig, client_of(rig, "1") as client:
            assert not rig.sending("1")
            await send_now(client)
            await until(lambda: len(rig.carrier_log("1")) == 3)
            assert rig.sending("1")
            client.channel.send(bytes((0x81, wire.SILENCE)), 255)
            await until(lambda: not rig.sending("1"))
            starts_s, periods, aborted_s = zip(*rig.carrier_log("1"), strict=True)
            assert set(periods) == {45_700}  # 100 ms of 457 kHz
            assert starts_s[2] - starts_s[0] == pytest.approx(1.4, abs=0.3)
            assert aborted_s[:2] == (None, None)
            assert starts_s[2] < aborted_s[2] < starts_s[2] + 0.1
            assert (await client.status())["latched"]

    asyncio.run(main())


def test_a_reboot_ends_the_sending(tmp_path: Path) -> None:
    async def main() -> None:
        async with rig_in(tmp_path, targets=1, posts=0) as rig, client_of(rig, "1") as client:
            await send_now(client)
            await until(lambda: rig.sending("1"))
            rig.reboot("1")
            await rig.quiet()
            assert not rig.sending("1")
            assert not (await client.status())["may_send"]

    asyncio.run(main())


# Its faults


def test_power_lost_in_the_middle_of_recording_a_silence_leaves_it_silenced(
    tmp_path: Path,
) -> None:
    async def main() -> None:
        said: list[str] = []
        how = {"targets": 1, "posts": 0, "on_report": said.append}
        async with rig_in(tmp_path, **how) as rig, client_of(rig, "1") as client:
            rig.cut_power("1", 10)
            await asyncio.to_thread(lambda: None)  # let the order go out before the frame
            await client.sync(1)
            client.channel.send(bytes((0x81, wire.SILENCE)), 255)
            await until(lambda: said)
            assert "power was cut" in said[0]
            with pytest.raises(LinkAbsent, match="rig reboot 1"):
                rig.probe("1")
            rig.reboot("1")
            await rig.quiet()
            assert (await client.status())["latched"]

    asyncio.run(main())


def test_a_program_that_fails_is_reported(tmp_path: Path) -> None:
    async def main() -> None:
        said: list[str] = []
        async with rig_in(tmp_path, targets=1, posts=0, on_report=said.append) as rig:
            os.kill(rig.state()[0]["pid"], signal.SIGSEGV)
            await until(lambda: said)
            assert said[0].startswith("Device 1 is off: its program ended, -11")
            assert rig.state()[0]["off"]

    asyncio.run(main())


def test_flash_that_is_junk_is_reported_with_the_programs_last_words(tmp_path: Path) -> None:
    async def main() -> None:
        said: list[str] = []
        async with rig_in(tmp_path, targets=1, posts=0, on_report=said.append) as rig:
            (tmp_path / "devices/target-1/flash.bin").unlink()
            (tmp_path / "devices/target-1/flash.bin").mkdir()
            rig.reboot("1")
            await until(lambda: said)
            assert "OSError" in said[0]

    asyncio.run(main())


def test_a_detuned_clock_runs_at_its_own_rate(tmp_path: Path) -> None:
    async def main() -> None:
        async with rig_in(tmp_path, targets=1, posts=0) as rig, client_of(rig, "1") as client:
            rig.detune("1", 500_000)  # far beyond any crystal, so that a moment shows it
            await client.sync(1)
            first = (await client.sync(1))[0]
            await asyncio.sleep(0.1)
            last = (await client.sync(1))[0]
            device_s = (last.device_us - first.device_us) / 1e6
            assert last.sent_s - first.received_s < device_s / 1.5 < last.received_s - first.sent_s

    asyncio.run(main())


def test_a_stranger_on_the_bench_socket_is_shown_out(tmp_path: Path) -> None:
    async def main() -> None:
        async with rig_in(tmp_path, targets=1, posts=0) as rig:
            host, port = rig._bench.environment()["BLINDFIELD_BENCH"].split(":")
            for first in (b'{"is": "here", "name": "1", "token": "guess"}\n', b"\xff\n", b"[]\n"):
                reader, writer = await asyncio.open_connection(host, int(port))
                writer.write(first)
                assert await reader.read() == b""
                writer.close()
            rig.probe("1")  # the device's own line is still the one
            assert rig.state()[0]["off"] == ""

    asyncio.run(main())


# More than one


def test_two_rigs_live_side_by_side(tmp_path: Path) -> None:
    async def main() -> None:
        async with (
            rig_in(tmp_path / "a", targets=1, posts=0) as one,
            rig_in(tmp_path / "b", targets=1, posts=0) as two,
            client_of(one, "1") as first,
            client_of(two, "1") as second,
        ):
            assert first.hello is not None
            assert second.hello is not None
            assert first.hello.device_id != second.hello.device_id
            one.cut_link("1")
            assert (await second.status())["message"] == "status_is"

    asyncio.run(main())


def test_a_rig_started_again_has_the_same_devices_and_what_they_recorded(tmp_path: Path) -> None:
    async def main() -> list[tuple[bytes, int]]:
        found = []
        for _ in range(2):
            async with rig_in(tmp_path, targets=1, posts=0) as rig, client_of(rig, "1") as client:
                assert client.hello is not None
                found.append((client.hello.device_id, len(await records_of(client))))
            assert not list((tmp_path / "ports").iterdir())
        return found

    (first_id, first_count), (second_id, second_count) = asyncio.run(main())
    assert first_id == second_id
    assert (first_count, second_count) == (1, 2)


# What it refuses


def test_without_an_interpreter_it_says_what_is_missing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(interpreter.sys, "executable", str(tmp_path / "python"))
    monkeypatch.setattr(interpreter.shutil, "which", lambda name: None)
    with pytest.raises(ConfigError, match=r"blindfield\[rig\].*sim:"):
        asyncio.run(Rig(tmp_path).start())


def test_unknown_names_and_manners_are_named(tmp_path: Path) -> None:
    async def main() -> None:
        async with rig_in(tmp_path, targets=1, posts=0) as rig:
            with pytest.raises(ConfigError, match="It has: 1"):
                rig.probe("7")
            with pytest.raises(ConfigError, match="sharp, push"):
                rig.probe("1", "gently")
            with pytest.raises(ConfigError, match="in its hole"):
                rig.put_back("1")

    asyncio.run(main())


def test_settings_outlive_a_reboot(tmp_path: Path) -> None:
    async def main() -> None:
        async with rig_in(tmp_path, targets=1, posts=0) as rig, client_of(rig, "1") as client:
            await client.request("set_setting", 2, 777)
            rig.reboot("1")
            await rig.quiet()
            values = (await client.request("settings"))["values"]
            assert struct.unpack_from("<i", values, 8) == (777,)

    asyncio.run(main())
