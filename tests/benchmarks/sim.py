"""What simulated devices cost: `python tests/benchmarks/sim.py`."""

from __future__ import annotations

import asyncio
import platform
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from blindfield.links.sim.field import SimField
from support.hosting import Host, simulate

RUN_S = 900.0
TARGETS = 6
PROBES = 20


async def _send(field: SimField) -> float:
    """CPU seconds of a run in which every target sends."""
    host = await Host(field).connect()
    for name in field.devices:
        await host.start(name, end_s=RUN_S, lease_s=RUN_S)
    begun_s = time.process_time()
    await asyncio.sleep(RUN_S + 10.0)
    return time.process_time() - begun_s


async def _feel(field: SimField) -> float:
    """CPU seconds of one probe, from the model's draw to the detector's last block."""
    begun_s = time.process_time()
    for _ in range(PROBES):
        field.probe("1")
        await asyncio.sleep(30.0)
    return (time.process_time() - begun_s) / PROBES


def main() -> None:
    where = f"Python {platform.python_version()}, {platform.machine()} {platform.system()}"
    sending_s: float = simulate(_send, TARGETS)
    feeling_s: float = simulate(_feel, 1)
    print(f"{RUN_S:g} s of {TARGETS} targets sending: {sending_s:.3f} s CPU ({where})")
    print(f"one probe strike: {feeling_s * 1e3:.1f} ms CPU")


if __name__ == "__main__":
    main()
