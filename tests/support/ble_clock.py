"""A run's looks at a clock over a connection with an event every 30 ms: the whole stack."""

from __future__ import annotations

import asyncio
import random
from dataclasses import dataclass

from blindfield.links.client import DeviceClient
from blindfield.links.clock import Looks
from fieldcore.instant import total_us
from support.ble_way import BleWay
from support.every_medium import now_s

RUN_S, POLL_S, EVENTS = 900.0, 2.0, 100
INTERVAL_S, LOST_EVENT = 0.030, 0.02


@dataclass
class Known:
    """What a run gave: errors of the best times, how many truths lay within, the width at start."""

    errors_s: list[float]
    inside: int
    width_s: float


async def known_after_a_run(ppm: float) -> Known:
    way = BleWay()
    way.ppm = ppm
    way.air.interval_s, way.air.lost_event = INTERVAL_S, LOST_EVENT
    try:
        client = await way.client()
        await client.connect()
        looks, draw = Looks(close_early=False), random.Random(ppm)
        await look(client, looks, full=True)
        width_s = client.clock.width_s
        truths: list[tuple[float, int]] = []
        begun_s = now_s()
        moments = sorted(draw.uniform(0, RUN_S) for _ in range(EVENTS))
        events = asyncio.create_task(strike(way, begun_s, moments, truths))
        while now_s() < begun_s + RUN_S:
            await look(client, looks)
            await client.status()
            await asyncio.sleep(POLL_S + draw.uniform(0, 0.06))
        await events
        spans = [(true_s, client.clock.to_host(us)) for true_s, us in truths]
        inside = sum(span.low <= true_s <= span.high for true_s, span in spans)
        return Known([(span.best or 0.0) - true_s for true_s, span in spans], inside, width_s)
    finally:
        await way.close()


async def look(client: DeviceClient, looks: Looks, full: bool = False) -> None:
    burst = looks.due(now_s(), full=full)
    if burst is not None:
        looks.made(now_s())
        await client.sync(burst.count, burst.spacing_s)


async def strike(
    way: BleWay, begun_s: float, moments: list[float], truths: list[tuple[float, int]]
) -> None:
    for moment_s in moments:
        await asyncio.sleep(begun_s + moment_s - now_s())
        with way.held() as device:
            clock = device.clock
            truths.append((now_s(), total_us(clock.lap, clock.ms, clock.us)))
