"""The medium `ble:`: devices over Bluetooth Low Energy, through bleak.

It wants an asyncio loop of real time. Silence reaches a device over its connection; each one told
repeats it on the air to those that are in a run and near, so that a device which somebody else
holds, or which cannot be connected to, falls silent too. bleak cannot advertise, so the host itself
cannot do that.
"""

from __future__ import annotations

import asyncio
import math
import re
from collections.abc import Iterable

from blindfield.links.ble_channel import BleChannel
from blindfield.links.ble_radio import BleRadio, Sighting
from blindfield.links.ble_turns import Turns
from blindfield.links.channel import Channel, Patience
from blindfield.model.errors import ConfigError, LinkError

MOST = 7
"""Connections at once, unless the URL says otherwise: what common adapters hold (common practice,
no source; an adapter may hold fewer)."""

LOOK_S = 5.0
"""How long a look round takes when devices stay away: longer than a parked radio rests."""

LEAD_S, ROUND_S = 10.0, 14.0
"""How far ahead a start is set, and how much farther for each round of turns more."""

SILENCE_S = 10.0
AT_ONCE_S = 0.5
"""Longest wait for a silence on one device: not connected, and connected."""

_MOST_EVER = 32
_AGAIN_S = 0.1


class BleMedium:
    """All devices of ours that are heard. `expected`: numbers of the devices wanted, so that a look
    ends when all are heard. `unreached`: names of those that the last silence did not get to.
    `start_lead_s`: how far ahead a start is set; `clock_width_s`: how well clocks must be known.
    """

    may_install_key = False
    clock_width_s = 0.1  # as well as a connection event every 30 to 50 ms lets a clock be known

    def __init__(
        self,
        url: str,
        *,
        most: int = MOST,
        expected: Iterable[bytes] = (),
        radio: BleRadio | None = None,
    ) -> None:
        self.url = url
        self.unreached: tuple[str, ...] = ()
        self.turns = Turns(most)
        self._radio = radio or BleRadio()
        self._expected = set(expected)
        self._channels: dict[str, BleChannel] = {}
        self._reaching: set[asyncio.Task[bool]] = set()

    @property
    def start_lead_s(self) -> float:
        return LEAD_S + ROUND_S * (self._rounds - 1)

    @property
    def _rounds(self) -> int:
        """Turns until each device known has had one."""
        return max(1, math.ceil(len(self._channels) / self.turns.most))

    @property
    def sightings(self) -> list[Sighting]:
        """Every device of ours ever heard here, with when and how loud."""
        return list(self._radio.sightings.values())

    async def discover(self) -> list[Channel]:
        """Every device heard now, or connected. Raises LinkAbsent, LinkDenied."""
        begun_s = asyncio.get_running_loop().time()
        await self._radio.look(LOOK_S, lambda: self._all_heard(begun_s))
        self._adopt(begun_s)
        for channel in self._channels.values():
            channel.patience = _patience(self._rounds)
        heard = [
            channel
            for address, channel in self._channels.items()
            if self._radio.sightings[address].heard_s >= begun_s or channel.connected
        ]
        return sorted(heard, key=lambda channel: channel.name)

    async def silence_all(self) -> None:
        """Tell all: those connected at once, then as many of the others as can be had.

        Returns when every connected one was told, or, when none was connected, after some seconds;
        the rest is tried on meanwhile. `unreached` says at any moment who was not told.
        """
        known = list(self._channels.values())
        self.unreached = tuple(sorted(channel.name for channel in known))
        connected = [channel for channel in known if channel.connected]
        told = await asyncio.gather(*(self._tell_now(channel) for channel in connected))
        reached = {c for c, got_it in zip(connected, told, strict=True) if got_it}
        tasks = [self._reach_on(channel) for channel in known if channel not in reached]
        if not known:
            tasks = await self._reach_whoever_comes()
        if tasks and not reached:
            await asyncio.wait(tasks)

    async def close(self) -> None:
        for task in self._reaching:
            task.cancel()
        await asyncio.gather(*self._reaching, return_exceptions=True)
        await asyncio.gather(*(channel.close() for channel in self._channels.values()))
        self.turns.close()

    def _is_connected(self, address: str) -> bool:
        channel = self._channels.get(address)
        return channel is not None and channel.connected

    def _adopt(self, since_s: float) -> list[BleChannel]:
        """Channels for devices heard since and not met before."""
        new = [
            BleChannel(self._radio, self.turns, seen)
            for address, seen in self._radio.sightings.items()
            if seen.heard_s >= since_s and address not in self._channels
        ]
        self._channels |= {channel.address: channel for channel in new}
        return new

    async def _reach_whoever_comes(self) -> list[asyncio.Task[bool]]:
        """Nobody was met yet: tell each as it is heard, while a look lasts."""
        loop = asyncio.get_running_loop()
        begun_s = loop.time()
        tasks: list[asyncio.Task[bool]] = []

        def begin() -> bool:
            for channel in self._adopt(begun_s):
                self.unreached += (channel.name,)
                tasks.append(self._reach_on(channel))
            return self._all_heard(begun_s)

        try:
            await self._radio.look(LOOK_S, begin)
        except LinkError:
            pass  # no adapter: whoever asks for proof hears of it
        return tasks

    def _all_heard(self, since_s: float) -> bool:
        heard = {
            seen.device_id
            for seen in self._radio.sightings.values()
            if seen.heard_s >= since_s or self._is_connected(seen.address)
        }
        return bool(self._expected) and heard >= self._expected

    def _reach_on(self, channel: BleChannel) -> asyncio.Task[bool]:
        task = asyncio.get_running_loop().create_task(self._reach(channel))
        self._reaching.add(task)
        task.add_done_callback(self._reaching.discard)
        return task

    async def _tell_now(self, channel: BleChannel) -> bool:
        try:
            async with asyncio.timeout(AT_ONCE_S):
                await channel.silence(at_once=True)
        except (LinkError, TimeoutError):
            return False  # it may be going just now, or be stuck: the others need not wait for it
        self._is_told(channel)
        return True

    async def _tell(self, channel: BleChannel) -> bool:
        try:
            await channel.silence()
        except LinkError:
            return False
        self._is_told(channel)
        return True

    def _is_told(self, channel: BleChannel) -> None:
        self.unreached = tuple(name for name in self.unreached if name != channel.name)

    async def _reach(self, channel: BleChannel) -> bool:
        try:
            async with asyncio.timeout(SILENCE_S):
                while not await self._tell(channel):
                    await asyncio.sleep(_AGAIN_S)
        except TimeoutError:
            return False
        return True


def medium_of_url(url: str, expected: Iterable[bytes] = ()) -> BleMedium:
    """The medium of `ble:` or `ble:max=NUMBER`. Raises ConfigError."""
    rest = url.partition(":")[2].strip()
    found = re.fullmatch(r"max\s*=\s*(\d{1,4})", rest)
    most = int(found[1]) if found else MOST
    if (rest and not found) or not 1 <= most <= _MOST_EVER:
        raise ConfigError(
            f"{url}: this is no way to Bluetooth devices.",
            remedy=f"Use ble: or ble:max=NUMBER (connections at once, 1 to {_MOST_EVER}; without "
            f"it {MOST}).",
        )
    return BleMedium(url, most=most, expected=expected)


def _patience(rounds: int) -> Patience:
    """A connection event comes every 30 to 50 ms, and with many devices a turn every few seconds.

    Common practice, no source: intervals are the system's choice.
    """
    return Patience(first_s=0.25, growth=1.6, longest_s=2.0 * rounds, tries=7 + rounds)
