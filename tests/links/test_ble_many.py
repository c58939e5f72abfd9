"""A run on more targets than a computer holds connections, on virtual time."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

pytest.importorskip("bumble")

from blindfield.conduct.checks import check_field
from blindfield.conduct.conductor import Conductor
from blindfield.console.desk import open_desk
from blindfield.drills.catalogue import drill_named
from blindfield.drills.draw import draw
from blindfield.links.ble_medium import BleMedium
from blindfield.links.ble_radio import BleRadio
from blindfield.links.rig.layout import field_on
from blindfield.links.virtual_time import run_virtual
from blindfield.model.run_summary import RunSummary
from fieldcore import wire
from support.ble_air import Air
from support.ble_backend import Central
from support.ble_way import BleWay
from support.desks import begun, in_order
from support.memory_link import KEY

TARGETS, MOST, INTERVAL_S = 5, 2, 0.030


def strike(way: BleWay) -> None:
    with way.held() as device:
        device.note(wire.EVENT_STRIKE, bytes(8))
        device.run.struck(device.clock.ms)
        device._hint()


async def run_on(folder: Path, ways: dict[str, BleWay], medium: BleMedium) -> RunSummary:
    place = field_on(folder, {n: w.board.device_id for n, w in ways.items()}, {}, "ble:")
    async with open_desk(place, [medium]) as desk:
        assert set(desk.crew.members) == set(ways)
        scenario = draw(place, drill_named("staggered"), seed=5, time_limit_s=600.0)
        conductor: Conductor = desk.conductor()
        await conductor.prepare()
        await check_field(conductor, scenario)
        task = await begun(conductor, scenario)
        for name in in_order(scenario):
            await asyncio.sleep(60)
            strike(ways[name])
        summary = await task
        assert conductor.doubtful == {}
        return summary


def test_all_are_loaded_started_heard_and_silent_in_turns(tmp_path: Path) -> None:
    async def main() -> RunSummary:
        air = Air()
        air.interval_s = INTERVAL_S
        ways = {str(n): BleWay(air, b"many-%03d" % n) for n in range(1, TARGETS + 1)}
        for way in ways.values():
            await way.up()
        central = await Central(air).power_on()
        wanted = [way.board.device_id for way in ways.values()]
        radio = BleRadio(central.scanner, central.client)
        medium = BleMedium("ble:", most=MOST, expected=wanted, radio=radio)
        summary = await run_on(tmp_path, ways, medium)
        assert medium.turns.held == 0
        assert not any(way.device.run.running for way in ways.values())
        for way in ways.values():
            await way.close()
        return summary

    (tmp_path / "field.key").write_text(KEY.hex())
    (tmp_path / "field.key").chmod(0o600)
    summary = run_virtual(main())
    assert (summary.outcome, summary.found) == ("met", 2)
