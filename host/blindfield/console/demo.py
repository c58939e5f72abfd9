"""`blindfield demo`: a whole run on simulated targets, which carry the real core.

Until the modelled searcher exists, a plainly labelled script walks the run.
"""

from __future__ import annotations

import argparse
import asyncio
import math
import tempfile
from collections.abc import Callable, Coroutine, Iterator
from pathlib import Path
from typing import Any

from blindfield.console import debrief
from blindfield.console.cautions import AT_THE_CLOSE, show_cautions
from blindfield.console.desk import add_json_argument, open_desk
from blindfield.console.follow import Follower, followed
from blindfield.drills.catalogue import drill_named
from blindfield.drills.draw import draw
from blindfield.links.keyfile import new_key, read_key
from blindfield.links.sim.field import SimField, sim_device_id, sim_field_of
from blindfield.links.virtual_time import run_virtual
from blindfield.logbook.book import Logbook
from blindfield.model.field import Field, Post, StartPoint, Target
from blindfield.model.scenario import Part, Scenario

PACE = 24.0  # virtual seconds in one wall second: a run of some 6 min in 15 s
TIME_LIMIT_S = 600.0
DEFAULT_SEED = 11
_PLACES = ((9, 33, 0.7), (21, 12, 1.0), (30, 40, 0.8), (38, 22, 0.9), (44, 8, 0.6), (15, 20, 1.0))

SCRIPTED = "A fixed script walks this run; it is not a model of a searcher."
NEXT = """\
Next, with real targets:
  1. Build and bury them; copy host/examples/field.toml and name your own.
  2. blindfield devices        who answers?
  3. blindfield run            your first blind problem
Without targets: `blindfield rig` starts them as processes (x86-64 Linux)."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_json_argument(parser)
    parser.add_argument("--seed", type=int, default=DEFAULT_SEED, help="another problem")
    parser.add_argument(
        "--fast", action="store_true", help="as fast as it goes, without the live view"
    )


def run(options: argparse.Namespace) -> int:
    quiet = options.fast or options.json
    if not options.json:
        print("Before any run, with real targets:")
        show_cautions()
        print(SCRIPTED)
    with tempfile.TemporaryDirectory(prefix="blindfield-demo-") as folder:
        place = demo_field(Path(folder))
        new_key(place.key_path)
        run_virtual(run_demo(place, options.seed, quiet=quiet), speed="jump" if quiet else PACE)
        with Logbook.open(place.logbook_path, field_key=None) as logbook:
            debrief.show(logbook, None, as_json=options.json)
    if not options.json:
        print(AT_THE_CLOSE)
        print()
        print(NEXT)
    return 0


def demo_field(folder: Path) -> Field:
    """The invented field of the demo."""
    return Field(
        name="Larch Hollow",
        folder=folder,
        media=("sim:",),
        key_path=folder / "field.key",
        logbook_path=folder / "logbook.sqlite",
        targets=tuple(
            Target(str(n), sim_device_id(DEFAULT_SEED, n), float(x), float(y), depth)
            for n, (x, y, depth) in enumerate(_PLACES, 1)
        ),
        posts=(Post("post", sim_device_id(DEFAULT_SEED, 0)),),
        start_points=(StartPoint("south flag", 25.0, 0.0), StartPoint("west flag", 0.0, 25.0)),
    )


async def run_demo(
    place: Field,
    seed: int,
    *,
    quiet: bool,
    beside: Callable[[Follower], Coroutine[Any, Any, None]] | None = None,
) -> None:
    """The demo's run, kept in the field's logbook; `beside` goes on beside it and may look."""
    bench = sim_field_of(place, read_key(place.key_path), seed=seed)
    async with open_desk(place, [bench.medium()]) as desk:
        scenario = draw(place, drill_named("staggered"), seed=seed, time_limit_s=TIME_LIMIT_S)
        conductor = desk.conductor()
        await conductor.prepare()
        async with followed(conductor, scenario, show=not quiet, spectator=True) as follower:
            tasks = [asyncio.create_task(_walk(scenario, bench, follower))]
            if beside is not None:
                tasks.append(asyncio.create_task(beside(follower)))
            try:
                await conductor.run(scenario)
            finally:
                for task in tasks:
                    task.cancel()
    bench.stop()


async def _walk(scenario: Scenario, bench: SimField, follower: Follower) -> None:
    """The script: walk to each target in the order of their signals, miss a little, strike."""
    place = (scenario.start.x_m, scenario.start.y_m)
    while follower.conductor.state.start_s is None:
        await asyncio.sleep(0.5)
    await asyncio.sleep(15.0)
    for number, part in enumerate(_in_order(scenario)):
        for step in _steps(place, (part.x_m, part.y_m)):
            follower.searcher_xy = place = step
            await asyncio.sleep(2.4 if number == 0 else 2.0)
        follower.say("The searcher probes.")
        for _ in range(3):
            bench.probe(part.name, "miss")
            await asyncio.sleep(3.0)
        bench.probe(part.name, "sharp" if number == 0 else "push")
        await asyncio.sleep(20.0)


def _in_order(scenario: Scenario) -> list[Part]:
    return sorted(scenario.in_play, key=lambda part: part.cues[0].trigger != "at")


def _steps(here: tuple[float, float], there: tuple[float, float]) -> Iterator[tuple[float, float]]:
    """Half-metre steps with the swing of someone who follows a flux line, then straight."""
    length_m = math.dist(here, there)
    count = max(1, int(length_m / 0.6))
    across = ((there[1] - here[1]) / (length_m or 1), (here[0] - there[0]) / (length_m or 1))
    for step in range(1, count + 1):
        share = step / count
        swing_m = 5.0 * math.sin(math.pi * share)
        yield (
            here[0] + (there[0] - here[0]) * share + across[0] * swing_m,
            here[1] + (there[1] - here[1]) * share + across[1] * swing_m,
        )
