"""Sealed requests over a line that loses and doubles frames.

`python tests/benchmarks/exchanges.py [REQUESTS]`: a real device core on virtual time, 5 % of the
frames lost and 1 % doubled each way, 0.5-2 ms on the way. Exit code 1 when a request was refused
or given up, or a command was carried out twice, out of order, or not at all.
"""

from __future__ import annotations

import asyncio
import platform
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from blindfield.links.client import DeviceClient
from blindfield.links.virtual_time import run_virtual
from blindfield.model.errors import BlindfieldError
from support.memory_link import KEY, MemoryChannel

LOSS, DOUBLING = 0.05, 0.01
SETTING = 1
VALUES = 60  # the setting goes round so many values, each of which differs from the one before


async def ask(line: MemoryChannel, requests: int) -> tuple[DeviceClient, list[float], list[str]]:
    """The client, the virtual seconds each request took, and what went wrong."""
    loop = asyncio.get_running_loop()
    client = DeviceClient(line, KEY)
    took_s, wrong = [], []
    await client.connect()
    for number in range(requests):
        begun_s = loop.time()
        try:
            await client.request("set_setting", SETTING, 20 + number % VALUES)
        except BlindfieldError as error:
            wrong.append(str(error))
        took_s.append(loop.time() - begun_s)
    return client, sorted(took_s), wrong


def main() -> int:
    requests = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    line = MemoryChannel(loss=LOSS, doubling=DOUBLING, seed=457)
    begun = time.perf_counter()
    client, took_s, wrong = run_virtual(ask(line, requests))
    wall_s = time.perf_counter() - begun
    done = [int.from_bytes(kept[4 * SETTING :][:4], "little") for kept in line.board.kept]
    right = done == [20 + number % VALUES for number in range(requests)]
    print(f"{platform.platform()}, Python {platform.python_version()}; {wall_s:.1f} s of wall time")
    print(f"{requests} requests, {client.retries} sent again, {client.ignored} frames ignored")
    for share in (0.5, 0.95, 0.999):
        print(f"  p{100 * share:g} {1e3 * took_s[int(share * (requests - 1))]:.1f} ms virtual")
    print(f"refused or given up: {len(wrong)}; carried out once each, in order: {right}")
    return 0 if right and not wrong else 1


if __name__ == "__main__":
    sys.exit(main())
