"""`blindfield demo`: a whole run on simulated targets, which carry the real core, walked by the
modelled searcher."""

from __future__ import annotations

import argparse
import asyncio
import tempfile
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any

from blindfield.console import debrief
from blindfield.console.cautions import AT_THE_CLOSE, show_cautions
from blindfield.console.demo_walk import MODELLED, follow_model, modelled
from blindfield.console.desk import add_json_argument, open_desk
from blindfield.console.follow import Follower, followed
from blindfield.drills.catalogue import drill_named
from blindfield.drills.draw import draw
from blindfield.links.keyfile import new_key, read_key
from blindfield.links.sim.field import sim_device_id, sim_field_of
from blindfield.links.virtual_time import VirtualLoop, run_virtual
from blindfield.logbook.book import Logbook
from blindfield.model.field import Field, Post, StartPoint, Target

PACE = 18.0  # virtual seconds in one wall second: a run of some 4 min in 15 s ...
LONGEST_WALL_S = 24.0  # ... and a long one faster
TIME_LIMIT_S = 600.0
DEFAULT_SEED = 11
_PLACES = ((9, 33, 0.7), (21, 12, 1.0), (30, 40, 0.8), (38, 22, 0.9), (44, 8, 0.6), (15, 20, 1.0))

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
        print(MODELLED)
    with tempfile.TemporaryDirectory(prefix="blindfield-demo-") as folder:
        place = demo_field(Path(folder))
        new_key(place.key_path)
        run_virtual(run_demo(place, options.seed, quiet=quiet), speed="jump" if quiet else PACE)
        with Logbook.open(place.logbook_path, field_key=None) as logbook:
            debrief.show(logbook, None, place, as_json=options.json)
    if not options.json:
        print(AT_THE_CLOSE)
        print()
        print(NEXT)
    return 0


def _keep_it_short(run_s: float) -> None:
    loop = asyncio.get_running_loop()
    if isinstance(loop, VirtualLoop):
        loop.speed = max(PACE, run_s / LONGEST_WALL_S)


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
        path = modelled(scenario, place, seed)
        if not quiet:
            _keep_it_short(float(path.run_s[-1]))
        conductor = desk.conductor()
        await conductor.prepare()
        async with followed(conductor, scenario, show=not quiet, spectator=True) as follower:
            tasks = [asyncio.create_task(follow_model(path, scenario, bench, follower))]
            if beside is not None:
                tasks.append(asyncio.create_task(beside(follower)))
            try:
                await conductor.run(scenario)
            finally:
                for task in tasks:
                    task.cancel()
    bench.stop()
