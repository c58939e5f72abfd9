"""One pair of wires and what happens on it: bytes take their time, and speakers garble each other.

On the running loop's time, virtual or real. What the model leaves out: drivers of unequal
strength, of which one may win over another, and reflections; here whatever overlaps is junk.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from random import Random

BAUD = 115_200
BITS = 10
"""Of a byte on the line: start, eight, stop."""

_KEEP_S = 0.5  # longer than any transmission: what ended before can overlap nothing any more
_BABBLE_BYTES = 40
_BABBLE_REST_S = (0.002, 0.030)


@dataclass(frozen=True)
class _Spoken:
    begin_s: float
    end_s: float
    data: bytes
    by: Tap | None
    """None: somebody holds the line at space."""


class Pair:
    """`noise`: the chance of each byte to arrive as another. `carried` counts what was spoken."""

    def __init__(self, rng: Random, *, baud: int = BAUD, noise: float = 0.0) -> None:
        self.noise = noise
        self.byte_s = BITS / baud
        self.taps: list[Tap] = []
        self.carried = 0
        self.collided = 0
        self._rng = rng
        self._spoken: list[_Spoken] = []

    def tap(self, latency_s: float = 0.0) -> Tap:
        """A new place on the pair, which hears everything `latency_s` late."""
        made = Tap(self, latency_s)
        self.taps.append(made)
        return made

    def speak(self, by: Tap, data: bytes, begin_s: float) -> float:
        """Put bytes on the pair, one after the other; when the last of them is over."""
        loop = asyncio.get_running_loop()
        self._spoken = [one for one in self._spoken if one.end_s > loop.time() - _KEEP_S]
        spoken = _Spoken(begin_s, begin_s + len(data) * self.byte_s, data, by)
        self._spoken.append(spoken)
        loop.call_at(spoken.end_s, self._arrive, spoken)
        return spoken.end_s

    def hold_low(self, hold_s: float, by: Tap | None = None) -> None:
        """Hold the line at space from now on: a break. Every other tap is told when it begins."""
        now_s = asyncio.get_running_loop().time()
        self._spoken.append(_Spoken(now_s, now_s + hold_s, b"", None))
        for tap in self.taps:
            if tap is not by and not tap.cut:
                tap.hear(b"\0")
                tap.on_break(hold_s)

    def babble(self, tap: Tap) -> None:
        """Junk from this tap, with short rests, as long as it `babbles`."""
        if tap.babbles:
            end_s = tap.speak(self._rng.randbytes(_BABBLE_BYTES))
            rest_s = self._rng.uniform(*_BABBLE_REST_S) if tap.rests else 0.0
            asyncio.get_running_loop().call_at(end_s + rest_s, self.babble, tap)

    def _arrive(self, spoken: _Spoken) -> None:
        if spoken.by is None or spoken.by.cut:
            return
        others = [
            one
            for one in self._spoken
            if one.by is not spoken.by
            and one.begin_s < spoken.end_s
            and one.end_s > spoken.begin_s
            and not (one.by is not None and one.by.cut)
        ]
        self.carried += 1
        self.collided += bool(others)
        heard = bytes(self._heard(spoken, place, others) for place in range(len(spoken.data)))
        for tap in self.taps:
            if not tap.cut and (tap is not spoken.by or tap.echo):
                tap.hear(heard)

    def _heard(self, spoken: _Spoken, place: int, others: list[_Spoken]) -> int:
        begin_s = spoken.begin_s + place * self.byte_s
        end_s = begin_s + self.byte_s
        for other in others:
            if other.begin_s < end_s and other.end_s > begin_s:
                return self._rng.randrange(256) if other.by else 0
        if self.noise and self._rng.random() < self.noise:
            return self._rng.randrange(256)
        return spoken.data[place]


class Tap:
    """One place on the pair. All attributes may be set at any time.

    `on_bytes(data)`, `on_break(hold_s)`: what comes. `cut`: its wires are off. `echo`: it hears
    itself, as some adapters do. `babbles`: it sends junk instead of what it is given, with rests
    unless `rests` is False.
    """

    def __init__(self, pair: Pair, latency_s: float) -> None:
        self.on_bytes: Callable[[bytes], None] = _unheard
        self.on_break: Callable[[float], None] = _unbroken
        self.latency_s = latency_s
        self.cut = False
        self.echo = False
        self.babbles = False
        self.rests = True
        self._pair = pair
        self._free_s = 0.0

    def write(self, data: bytes) -> None:
        """What its driver is given to send; behind what it still sends."""
        if not self.babbles:
            self.speak(data)

    def speak(self, data: bytes) -> float:
        """Send now, or behind what is under way from here; when it is over."""
        begin_s = max(asyncio.get_running_loop().time(), self._free_s)
        self._free_s = self._pair.speak(self, data, begin_s)
        return self._free_s

    @property
    def byte_s(self) -> float:
        """What one byte takes here."""
        return self._pair.byte_s

    def hold_low(self, hold_s: float) -> None:
        """Hold the line at space from here: a break."""
        if not self.cut:
            self._pair.hold_low(hold_s, self)

    def set_babbling(self, on: bool) -> None:
        begins = on and not self.babbles
        self.babbles = on
        if begins:
            self._pair.babble(self)

    def hear(self, data: bytes) -> None:
        if self.latency_s:
            asyncio.get_running_loop().call_later(self.latency_s, self.on_bytes, data)
        else:
            self.on_bytes(data)


def _unheard(data: bytes) -> None:
    """Nothing is wired there."""


def _unbroken(hold_s: float) -> None:
    """Nothing there looks for breaks."""
