"""A whole run over the air: the conductor, bleak, a BLE stack, the firmware under MicroPython."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

pytest.importorskip("bumble")

from blindfield.conduct import conductor as conductors
from blindfield.conduct import state
from blindfield.conduct.checks import check_field
from blindfield.console.desk import open_desk
from blindfield.drills.catalogue import drill_named
from blindfield.drills.draw import draw
from blindfield.links.ble_medium import BleMedium
from blindfield.links.ble_radio import BleRadio
from blindfield.links.rig.layout import field_on
from blindfield.model.events import Event
from support.ble_field import BleField, ble_field
from support.ble_host import strike, until
from support.desks import begun, in_order

LEAD_S = 1.3  # shorter than a wire's, so that it is seen to count
STRIKE_S = 0.05  # the detector's share, and this machine's


async def run_on(air: BleField, folder: Path) -> tuple[list[Event], dict[str, float]]:
    """A run of two targets; the second is struck while it is out of range."""
    place = field_on(folder, {n: t.device_id for n, t in air.targets.items()}, {}, "ble:")
    central = await air.central()
    radio = BleRadio(central.scanner, central.client)
    wanted = [target.device_id for target in place.targets]
    medium = BleMedium("ble:", expected=wanted, radio=radio)
    contacts_s: dict[str, float] = {}
    async with open_desk(place, [medium]) as desk:
        assert set(desk.crew.members) == set(air.targets)
        scenario = draw(place, drill_named("staggered"), seed=5, time_limit_s=60.0)
        conductor = desk.conductor()
        await conductor.prepare()
        await check_field(conductor, scenario)
        task = await begun(conductor, scenario)
        first, second = in_order(scenario)
        await until(lambda: len(air.targets[first].pulses) >= 2)  # so that it began before
        contacts_s[first] = await strike(air, first, seed=1)
        await until(lambda: air.targets[second].pulses)
        await air.lose(second)
        await until(lambda: desk.crew.members[second].away_since_s is not None)
        contacts_s[second] = await strike(air, second, seed=2)
        air.find(second)
        summary = await asyncio.wait_for(task, 15)
        assert summary.outcome == "met"
        assert conductor.doubtful == {}
        return desk.logbook.events_of(summary.run_id), contacts_s


def test_a_run_over_the_air_keeps_every_find_and_its_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(BleMedium, "start_lead_s", LEAD_S)
    monkeypatch.setattr(conductors, "POLL_S", 0.5)
    monkeypatch.setattr(state, "EARLY_S", 0.5)  # this searcher runs

    async def main() -> tuple[list[Event], dict[str, float]]:
        async with ble_field(tmp_path, 3) as air:
            return await run_on(air, tmp_path)

    events, contacts_s = asyncio.run(main())
    strikes = [event for event in events if event.kind == "strike"]
    assert sorted(event.data["device"] for event in strikes) == sorted(contacts_s)
    for event in strikes:
        assert event.host_s is not None
        contact_s = contacts_s[event.data["device"]]
        assert event.host_s.low - STRIKE_S <= contact_s <= event.host_s.high + STRIKE_S
    set_s = [e for e in events if e.kind == "start_sent"]
    assert len(set_s) == 3
    for event in set_s:
        assert event.host_s is not None
        assert event.host_s.best is not None
        assert event.data["start_host_s"][1] - event.host_s.best < LEAD_S
    lost = [event.data["device"] for event in events if event.kind == "link_lost"]
    back = [event.data["device"] for event in events if event.kind == "link_back"]
    assert lost == back == [strikes[-1].data["device"]]
