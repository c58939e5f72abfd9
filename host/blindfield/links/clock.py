"""Where a device's clock stands on the host's: bounds that hold, and a best estimate.

An exchange bounds the host time of the device's stamp between sending and receiving, with no
word about delays. Exchanges of one burst make a `_Node`: a device time and its host bounds.
Bounds elsewhere are the intersection, over nodes and pairs of nodes, of what these allow:

* one node, and a rate within RATE_LIMIT of the host's;
* two nodes: the line through them, off by at most WANDER / 2 * (distance to the one) *
  (distance to the other): the remainder of linear interpolation when the rate changes by no
  more than WANDER a second; it holds outside the two as well.

The best estimate is a line through each burst's exchange of least one-way delay (host to
device), clipped into the bounds. The host's clock is the reference; a host that was suspended,
or a stamp that is wrong, shows as a contradiction: `consistent` turns False, the exchanges from
there on stand for themselves, and times in between are as wide as both sides together.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import inf

from blindfield.model.span import Span, unsynced

RATE_LIMIT = 100e-6
"""Seconds a second by which two clocks may differ: crystals of +-50 ppm at either end [M]."""
WANDER = 3e-6 / 60
"""Change of that rate, per second: 3 ppm a minute. An allowance of our own [M], not measured: a
target out of a warm pack cools by some 6 K in its first minute in the snow, at 0.5 ppm/K."""
RATE_SPREAD = 50e-6
"""How far the line trusts its own slope before there is much to fit: spread of crystals [M]."""
STAMP_S = 1e-6
"""A device stamp is whole microseconds, rounded down."""

BURST_SPAN_S = 5.0
"""Exchanges sent within this of a burst's first belong to it."""
FIT_NODES = 12
"""Bursts the line goes through: those nearest to the time asked for."""
NEAR_NODES = 3
"""Bursts on either side of a time that are paired with all others for its bounds."""
MAX_NODES = 96
"""Bursts kept; beyond, every other one of the older half is let go."""


@dataclass(frozen=True, slots=True)
class Exchange:
    """The host stamps sending, the device arrival, the host the reply. ValueError if reversed."""

    sent_s: float
    device_us: int
    received_s: float
    clock_id: int

    def __post_init__(self) -> None:
        if not self.sent_s <= self.received_s:
            raise ValueError(f"a reply cannot come before its question: {self}")


@dataclass(frozen=True, slots=True)
class Burst:
    """Some exchanges in a row; `spacing_s` is for a radio, whose 7.5 or 30 ms interval it
    scans; on a wire they follow one another at once."""

    count: int
    spacing_s: float = 0.137

    @property
    def offsets_s(self) -> tuple[float, ...]:
        return tuple(i * self.spacing_s for i in range(self.count))


FULL = Burst(8)
KEEP = Burst(4)
KEEP_EVERY_S = 59.993
"""No multiple of a radio interval: each minute's burst meets other phases of it."""
EARLY_EVERY_S = 7.993
EARLY_S = 60.0
"""One burst does not show a crystal's rate: for the first minute the looks come closer together."""


@dataclass
class Looks:
    """When to look at one clock: the plan that conductor, model and benchmark share.

    A full burst at once and before a load, more of them every EARLY_EVERY_S in the clock's first
    minute, then short ones every KEEP_EVERY_S. `close_early` False is for a radio: against its
    30 ms a minute of unknown rate (3 ms at 50 ppm) is little, and looks in a bunch fit a line ill.
    """

    close_early: bool = True
    begun_s: float | None = None
    last_s: float | None = None

    def due(self, now_s: float, *, full: bool = False) -> Burst | None:
        """The burst to make now, or None; `full` asks for a full one whatever the time."""
        if full or self.last_s is None or self.begun_s is None:
            return FULL
        early = self.close_early and self.last_s - self.begun_s < EARLY_S
        every_s, burst = (EARLY_EVERY_S, FULL) if early else (KEEP_EVERY_S, KEEP)
        return burst if now_s - self.last_s >= every_s else None

    def made(self, now_s: float) -> None:
        """A burst began now."""
        self.last_s = now_s
        self.begun_s = now_s if self.begun_s is None else self.begun_s


@dataclass(frozen=True, slots=True)
class _Node:
    """One burst: at `device_us` the host's clock stood within [low_s, high_s]; pick_s is best."""

    device_us: int
    low_s: float
    high_s: float
    pick_s: float

    def bounds(self, device_us: int) -> tuple[float, float]:
        ahead_s = (device_us - self.device_us) * 1e-6
        slack_s = abs(ahead_s) * RATE_LIMIT + STAMP_S
        return self.low_s + ahead_s - slack_s, self.high_s + ahead_s + slack_s


def _node_of(burst: list[Exchange]) -> _Node:
    """The burst as bounds at its exchange of least one-way delay; may come out empty."""
    first = burst[0]

    def lateness_s(one: Exchange) -> float:
        return (one.device_us - first.device_us) * 1e-6 - (one.sent_s - first.sent_s)

    pick = min(burst, key=lateness_s)
    each = [_Node(x.device_us, x.sent_s, x.received_s, x.sent_s) for x in burst]
    bounds = [node.bounds(pick.device_us) for node in each]
    low_s = max(low for low, _ in bounds)
    return _Node(pick.device_us, low_s, min(high for _, high in bounds), pick.sent_s)


def _pair_bounds(one: _Node, two: _Node, device_us: int) -> tuple[float, float]:
    """Bounds at a device time by the line through two nodes (one before two) and its remainder."""
    length_s = (two.device_us - one.device_us) * 1e-6
    from_one_s = (device_us - one.device_us) * 1e-6
    share = from_one_s / length_s
    remainder_s = WANDER / 2 * abs(from_one_s * (from_one_s - length_s)) + STAMP_S
    low_s = high_s = 0.0
    for weight, node in ((1 - share, one), (share, two)):
        low_s += weight * (node.low_s if weight >= 0 else node.high_s)
        high_s += weight * (node.high_s if weight >= 0 else node.low_s)
    return low_s - remainder_s, high_s + remainder_s


def _near(nodes: list[_Node], device_us: int, count: int) -> list[_Node]:
    return sorted(nodes, key=lambda node: abs(node.device_us - device_us))[:count]


def _bounds(nodes: list[_Node], device_us: int) -> tuple[float, float]:
    """The intersection over nodes and pairs; empty (low > high) when they contradict."""
    before = [node for node in nodes if node.device_us <= device_us][-NEAR_NODES:]
    after = [node for node in nodes if node.device_us > device_us][:NEAR_NODES]
    low_s, high_s = -inf, inf
    for near in before + after:
        found = [near.bounds(device_us)]
        for node in nodes:
            if node.device_us != near.device_us:
                one, two = (near, node) if near.device_us < node.device_us else (node, near)
                found.append(_pair_bounds(one, two, device_us))
        low_s = max(low_s, max(low for low, _ in found))
        high_s = min(high_s, min(high for _, high in found))
    return low_s, high_s


def _line(nodes: list[_Node], device_us: int) -> tuple[float, float]:
    """Host time at a device time, and host seconds per device second, by the picks nearby.

    Least squares with a prior on the slope (1 +- RATE_SPREAD), so that two noisy bursts close
    together do not tilt it.
    """
    near = _near(nodes, device_us, FIT_NODES)
    xs = [(node.device_us - device_us) * 1e-6 for node in near]
    ys = [node.pick_s - near[0].pick_s - x for node, x in zip(near, xs, strict=True)]
    mean_x, mean_y = sum(xs) / len(xs), sum(ys) / len(ys)
    noise_s = sorted(node.high_s - node.low_s for node in near)[len(near) // 2] / 4
    spread = sum((x - mean_x) ** 2 for x in xs) + (noise_s / RATE_SPREAD) ** 2
    cross = sum((x - mean_x) * (y - mean_y) for x, y in zip(xs, ys, strict=True))
    skew = cross / spread if spread else 0.0
    skew = min(max(skew, -RATE_LIMIT), RATE_LIMIT)
    # Every pick lies before its arrival: of bursts near enough the latest has waited least.
    lift_s = max(y - skew * x - WANDER / 2 * x * x for x, y in zip(xs, ys, strict=True))
    return near[0].pick_s + max(lift_s, mean_y - skew * mean_x), 1.0 + skew


class ClockMap:
    """One device clock (one clock_id) on the host's, from its exchanges in order of sending."""

    def __init__(self, clock_id: int, exchanges: Iterable[Exchange] = ()) -> None:
        self.clock_id = clock_id
        self.consistent = True
        self._burst: list[Exchange] = []
        self._last: Exchange | None = None
        # Stretches of nodes that agree with one another; the last is the present one.
        self._stretches: list[list[_Node]] = []
        for exchange in exchanges:
            self.add(exchange)

    def add(self, exchange: Exchange) -> None:
        """Take one more exchange. ValueError for another clock_id or one sent before the last."""
        if exchange.clock_id != self.clock_id:
            raise ValueError(f"clock {exchange.clock_id:08x} is not {self.clock_id:08x}")
        if self._last is not None and exchange.sent_s < self._last.sent_s:
            raise ValueError("exchanges are wanted in the order in which they were sent")
        self._last = exchange
        if self._burst and exchange.sent_s - self._burst[0].sent_s <= BURST_SPAN_S:
            if self._agrees(_node_of([*self._burst, exchange]), self._stretches[-1][:-1]):
                self._stretches[-1].pop()
                self._burst.append(exchange)
                self._stretches[-1].append(_node_of(self._burst))
                return
            self._part()
        self._begin(exchange)

    def to_host(self, device_us: int) -> Span:
        """The host time of a device time. LookupError while there is no exchange."""
        nodes, bounds = self._around(device_us)
        best_s = _line(nodes, device_us)[0]
        return Span(bounds[0], min(max(best_s, bounds[0]), bounds[1]), bounds[1])

    def to_device(self, host_s: float) -> int:
        """The device time whose best host time this is. LookupError while there is no exchange."""
        nodes = self._present()
        device_us = nodes[-1].device_us + round((host_s - nodes[-1].pick_s) * 1e6)
        for _ in range(4):
            best_s = self.to_host(device_us).best
            assert best_s is not None
            device_us += round((host_s - best_s) * 1e6)
        return device_us

    @property
    def rate(self) -> float:
        """Device microseconds per host microsecond, by the newest bursts; 1 before any."""
        if self._last is None:
            return 1.0
        return 1.0 / _line(self._stretches[-1], self._last.device_us)[1]

    def age_s(self, now_s: float) -> float:
        """Seconds since the last reply; infinite without one."""
        return inf if self._last is None else now_s - self._last.received_s

    @property
    def width_s(self) -> float:
        """How closely the last exchange's moment is known, in seconds; infinite without one."""
        return inf if self._last is None else self.to_host(self._last.device_us).width

    # -- inside ----------------------------------------------------------------------------

    def _present(self) -> list[_Node]:
        if not self._stretches:
            raise LookupError(f"clock {self.clock_id:08x} was never synchronised")
        return self._stretches[-1]

    @staticmethod
    def _agrees(node: _Node, others: list[_Node]) -> bool:
        low_s, high_s = _bounds(others, node.device_us)
        in_order = not others or others[-1].device_us < node.device_us
        return in_order and max(low_s, node.low_s) <= min(high_s, node.high_s)

    def _begin(self, exchange: Exchange) -> None:
        self._burst = [exchange]
        node = _node_of(self._burst)
        if self._stretches and not self._agrees(node, self._stretches[-1]):
            self._part()
        if not self._stretches:
            self._stretches.append([])
        self._stretches[-1].append(node)
        self._thin()

    def _part(self) -> None:
        self.consistent = False
        self._stretches.append([])

    def _thin(self) -> None:
        if sum(map(len, self._stretches)) <= MAX_NODES:
            return
        longest = max(self._stretches, key=len)
        if len(longest) < 4:
            del self._stretches[0]
            return
        half = len(longest) // 2
        longest[:half] = longest[:half:2]

    def _around(self, device_us: int) -> tuple[list[_Node], tuple[float, float]]:
        """The stretch to fit a line through, and the bounds, at a device time."""
        self._present()
        before = [s for s in self._stretches if s[0].device_us <= device_us]
        after = [s for s in self._stretches if s[-1].device_us >= device_us]
        holding = [s for s in before if s in after]
        sides = holding or [*before[-1:], *after[:1]]
        nearest = min(sides, key=lambda s: abs(_near(s, device_us, 1)[0].device_us - device_us))
        found = [_bounds(side, device_us) for side in sides]
        # Several stretches: they contradict, so the truth may be on either side of each.
        low_s, high_s = min(min(b) for b in found), max(max(b) for b in found)
        return nearest, (low_s, high_s)


class Clocks:
    """All device clocks met so far, by clock_id."""

    def __init__(self, exchanges: Iterable[Exchange] = ()) -> None:
        self._maps: dict[int, ClockMap] = {}
        for exchange in exchanges:
            self.add(exchange)

    def add(self, exchange: Exchange) -> None:
        self._maps.setdefault(exchange.clock_id, ClockMap(exchange.clock_id)).add(exchange)

    def map_of(self, clock_id: int) -> ClockMap | None:
        return self._maps.get(clock_id)

    def to_host(self, clock_id: int, device_us: int, *, earliest_s: float, latest_s: float) -> Span:
        """The host time of a device time; within the two given, no best, if never synchronised."""
        known = self._maps.get(clock_id)
        return known.to_host(device_us) if known else unsynced(earliest_s, latest_s)
