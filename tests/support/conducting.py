"""A whole run on simulated devices during which a test acts."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any

from blindfield.conduct.conductor import Conductor
from blindfield.conduct.state import RunState
from blindfield.links.virtual_time import run_virtual
from blindfield.model.events import Event
from blindfield.model.run_summary import RunSummary
from blindfield.model.scenario import Part, Scenario
from support.desks import Bench, begun, bench, in_order

Acts = Callable[[Bench, Conductor, Scenario], Coroutine[Any, Any, None]]
TRAIN_SLACK_S = 1e-3  # a pulse's place against its plan: clock fit and whole microseconds
UNKNOWN_RATE = (
    60e-6  # a minute's acquaintance does not show a crystal's rate: +-30 ppm and the host's
)


def conduct(
    folder: Path, acts: Acts, *, lease_s: float | None = None, loss: float = 0.0, **draw: Any
) -> tuple[RunSummary, list[Event], Bench]:
    """A run during which `acts` happen; its summary, its events, and the bench."""

    async def main() -> tuple[RunSummary, list[Event], Bench]:
        async with bench(folder, lease_s=lease_s) as b:
            for device in b.sim.devices.values():
                device.line.loss = loss
                device.line.doubling = loss / 5
            conductor, scenario = await b.prepared(**draw)
            task = await begun(conductor, scenario)
            actor = asyncio.create_task(acts(b, conductor, scenario))
            summary = await task
            await actor
            events = b.desk.logbook.events_of(summary.run_id)
            assert b.desk.logbook.check_commitment(summary.run_id)
            assert not any(b.sim.sending(name) for name in "123456")
            return summary, events, b

    return run_virtual(main())


def kinds(events: list[Event], kind: str) -> list[Event]:
    return [event for event in events if event.kind == kind]


def off_its_place_s(pulse_s: float, state: RunState, part: Part) -> float:
    """How far a pulse is from its place in the train, beyond what is allowed (negative: right)."""
    assert state.start_s is not None
    run_s = pulse_s - (state.start_s.best or 0)
    half_us = part.period_us / 2
    off_us = (run_s * 1e6 - part.phase_us + half_us) % part.period_us - half_us
    return abs(off_us) / 1e6 - TRAIN_SLACK_S - UNKNOWN_RATE * run_s


async def strike(b: Bench, name: str, manner: Any = "sharp") -> None:
    b.sim.probe(name, manner)
    await asyncio.sleep(3)


async def find_both(b: Bench, conductor: Conductor, scenario: Scenario) -> None:
    first, second = in_order(scenario)
    await asyncio.sleep(60)
    await strike(b, first)
    await asyncio.sleep(90)
    await strike(b, second, "push")
