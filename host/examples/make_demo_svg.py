"""Makes demo.svg, the picture in the README: the demo's screen in the middle of its run."""

from __future__ import annotations

import asyncio
import io
import re
import tempfile
from pathlib import Path

from rich.console import Console

from blindfield.console.demo import DEFAULT_SEED, demo_field, run_demo
from blindfield.console.follow import Follower
from blindfield.console.live import frame
from blindfield.links.keyfile import new_key
from blindfield.links.virtual_time import run_virtual

AT_S = 205.0
"""Virtual seconds after the start of the program: the first target is found, the second sends."""

PICTURE = Path(__file__).with_name("demo.svg")


def picture() -> str:
    """The SVG text, the same each time."""
    console = Console(record=True, width=86, height=24, file=io.StringIO())

    async def snap(follower: Follower) -> None:
        await asyncio.sleep(AT_S - asyncio.get_running_loop().time())
        console.print(frame(follower.live_state()))

    with tempfile.TemporaryDirectory() as folder:
        place = demo_field(Path(folder))
        new_key(place.key_path)
        run_virtual(run_demo(place, DEFAULT_SEED, quiet=True, beside=snap))
    svg = console.export_svg(title="blindfield demo", unique_id="blindfield")
    # A picture asks nothing of the network: the reader's own fonts serve.
    svg = re.sub(r"@font-face\s*{[^}]*}", "", svg)
    return "\n".join(line.rstrip() for line in re.sub(r"<!--.*?-->", "", svg).splitlines()) + "\n"


if __name__ == "__main__":
    PICTURE.write_text(picture(), encoding="utf-8")
