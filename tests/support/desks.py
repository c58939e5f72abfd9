"""A desk over simulated devices, on virtual time, for tests of whole runs."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

from blindfield.conduct.checks import check_field
from blindfield.conduct.conductor import Conductor
from blindfield.console.desk import Desk, open_desk
from blindfield.drills.catalogue import drill_named
from blindfield.drills.draw import draw
from blindfield.links.keyfile import new_key, read_key
from blindfield.links.sim.field import SimField, sim_field_of
from blindfield.model.field import Field
from blindfield.model.run_summary import RunSummary
from blindfield.model.scenario import EndOn, Scenario
from support.scenarios import small_field


@dataclass
class Bench:
    """A field, its simulated devices, and an open desk."""

    place: Field
    sim: SimField
    desk: Desk

    async def prepared(
        self,
        kind: str = "staggered",
        *,
        seed: int = 5,
        limit_s: float = 600.0,
        end_on: EndOn = "strike",
    ) -> tuple[Conductor, Scenario]:
        """A conductor ready to run, and the scenario drawn for it."""
        scenario = draw(
            self.place, drill_named(kind), seed=seed, time_limit_s=limit_s, end_on=end_on
        )
        conductor = self.desk.conductor()
        await conductor.prepare()
        await check_field(conductor, scenario)
        return conductor, scenario


@asynccontextmanager
async def bench(
    folder: Path, *, lease_s: float | None = None, seed: int = 3, sim: SimField | None = None
) -> AsyncIterator[Bench]:
    """An open desk; pass `sim` to open a second desk on devices that are running already."""
    place = small_field(folder=folder, lease_s=lease_s)
    devices = sim or standing_field(folder, seed=seed)
    async with open_desk(place, [devices.medium()]) as desk:
        yield Bench(place, devices, desk)
    if sim is None:
        devices.stop()


def standing_field(folder: Path, *, seed: int = 3) -> SimField:
    """Simulated devices with the key of the field in `folder`, which is made when absent."""
    place = small_field(folder=folder)
    if not place.key_path.exists():
        new_key(place.key_path)
    return sim_field_of(place, read_key(place.key_path), seed=seed)


async def begun(conductor: Conductor, scenario: Scenario) -> asyncio.Task[RunSummary]:
    """The run as a task, once its clock has begun."""
    task = asyncio.create_task(conductor.run(scenario))
    while conductor.state.start_s is None and not task.done():
        await asyncio.sleep(0.1)
    if not task.done():
        assert conductor.state.start_s is not None
        assert conductor.state.start_s.best is not None
        await asyncio.sleep(conductor.state.start_s.best - asyncio.get_running_loop().time())
    return task


def in_order(scenario: Scenario) -> list[str]:
    """Names of the targets in play, first the one that sends from the start."""
    parts = sorted(scenario.in_play, key=lambda part: part.cues[0].trigger != "at")
    return [part.name for part in parts]


def resting(scenario: Scenario) -> str:
    return next(part.name for part in scenario.targets if not part.in_play)
