"""Links and clocks as models: delays of an exchange, a device clock that runs off."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass

from blindfield.links.clock import ClockMap, Exchange, Looks

Delays = Callable[[random.Random, float, float], tuple[float, float]]
"""(random, sending host_s, phase_s) -> arrival host_s, reply's host_s."""

RUN_S = 900.0
START_S = 30.0
RADIO_LOAD_S = 20.0
POLL_S = 2.0
HICCUP = 0.05
HICCUP_S = 0.005
LOST_EVENT = 0.02


def serial(draw: random.Random, sent_s: float, phase_s: float) -> tuple[float, float]:
    """0.1-0.6 ms each way, independent; each way is 5 ms late in one of 20."""
    del phase_s
    there, back = (
        draw.uniform(0.0001, 0.0006) + (HICCUP_S if draw.random() < HICCUP else 0.0)
        for _ in range(2)
    )
    return sent_s + there, sent_s + there + back


def ble_30ms(draw: random.Random, sent_s: float, phase_s: float) -> tuple[float, float]:
    """Up waits for the next connection event, the reply leaves at a later one; 2 % are lost.

    Each crossing of the host adds 1 ms + Exp(1 ms). A model of our own, not measured.
    """

    def event_after(moment_s: float) -> float:
        event = math.ceil((moment_s - phase_s) / 0.030)
        while draw.random() < LOST_EVENT:
            event += 1
        return phase_s + event * 0.030

    def host_s() -> float:
        return 0.001 + draw.expovariate(1000.0)

    arrival_s = event_after(sent_s + host_s())
    return arrival_s, event_after(arrival_s + 0.001) + host_s()


@dataclass(frozen=True)
class Device:
    """A clock that is `skew` fast at the host's time 0 and gains `wander` of skew a second."""

    skew: float
    wander: float = 0.0
    zero_us: int = 300_000_000

    def at_us(self, host_s: float) -> int:
        seconds = host_s * (1 + self.skew) + self.wander * host_s * host_s / 2
        return self.zero_us + math.floor(seconds * 1e6)


def exchanges(draw: random.Random, delays: Delays, device: Device) -> list[Exchange]:
    """What a run of RUN_S seconds gives by the plan, looked at every POLL_S as the conductor does;
    a radio looks fully once more before the load."""
    found = []
    wire = delays is serial
    looks, phase_s = Looks(close_early=wire), draw.random()
    for poll in range(int((START_S + RUN_S) / POLL_S)):
        send_s = poll * POLL_S
        full = not wire and send_s == RADIO_LOAD_S
        if not wire:  # a poll over radio waits for its own connection events: no fixed raster
            send_s += draw.uniform(0, 0.06)
        burst = looks.due(send_s, full=full)
        if burst is None:
            continue
        looks.made(send_s)
        spacing_s = 0.0 if wire else burst.spacing_s
        for _ in range(burst.count):
            arrival_s, reply_s = delays(draw, send_s, phase_s)
            found.append(Exchange(send_s, device.at_us(arrival_s), reply_s, 7))
            send_s = max(reply_s, send_s + spacing_s) + draw.uniform(0, 0.002)
    return found


@dataclass(frozen=True)
class Outcome:
    """One event: the error of the best, whether the truth lay within, the width."""

    error_s: float
    inside: bool
    width_s: float


def outcomes(draw: random.Random, delays: Delays, device: Device, live: bool) -> list[Outcome]:
    """20 events of one run, placed as they arrive (live), or after the run with every exchange."""
    known = exchanges(draw, delays, device)
    mapped = ClockMap(7)
    moments = sorted(draw.uniform(START_S, START_S + RUN_S) for _ in range(20))
    waiting = list(known)
    found = []
    for moment_s in moments:
        while waiting and (not live or waiting[0].received_s <= moment_s):
            mapped.add(waiting.pop(0))
        span = mapped.to_host(device.at_us(moment_s))
        assert span.best is not None
        inside = span.low <= moment_s <= span.high
        found.append(Outcome(span.best - moment_s, inside, span.width))
    return found
