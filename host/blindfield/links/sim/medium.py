"""The medium `sim:`, which reaches devices inside the program."""

from __future__ import annotations

import asyncio
import difflib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from blindfield.links.channel import (
    BROADCAST,
    DEVICE,
    Channel,
    ChannelState,
    no_frame,
    no_state,
)
from blindfield.links.sim.device import SimDevice
from blindfield.links.sim.field import PPM_SPREAD, SimField, practice_seats, sim_field_of
from blindfield.model.errors import ConfigError, LinkLost
from blindfield.model.field import Field
from fieldcore import frame, message, wire

_SILENCE_APART_S = (0.0, 0.02, 0.05)


class SimChannel:
    """The line to one simulated device."""

    def __init__(self, device: SimDevice) -> None:
        self.name = f"sim:{device.name}"
        self.state = ChannelState.CLOSED
        self.on_frame: Callable[[int, bytes, float], None] = no_frame
        self.on_state: Callable[[ChannelState], None] = no_state
        self._line = device.line
        self._reader = frame.Reader()

    async def open(self) -> None:
        """The line has one end here: whoever opened it last hears the device."""
        self._line.on_host = self._take
        if self.state is not ChannelState.OPEN:
            self._become(ChannelState.OPEN)

    def send(self, body: bytes, address: int = DEVICE) -> float:
        if self.state is not ChannelState.OPEN:
            raise LinkLost("The line is not open.", device=self.name, remedy="Open it first.")
        self._line.to_device(frame.encode(address, body))
        return asyncio.get_running_loop().time()

    def silence(self) -> None:
        """One unsealed silence frame, open or not."""
        self._line.to_device(frame.encode(BROADCAST, message.pack(wire.SILENCE)))

    async def close(self) -> None:
        if self.state is not ChannelState.CLOSED:
            self._become(ChannelState.CLOSED)

    def _become(self, state: ChannelState) -> None:
        self.state = state
        self.on_state(state)

    def _take(self, data: bytes) -> None:
        if self.state is not ChannelState.OPEN:
            return
        self._reader.feed(data)
        while found := self._reader.next():
            self.on_frame(*found, asyncio.get_running_loop().time())


class SimMedium:
    """All devices of one SimField. `owns_field`: closing the medium ends its devices."""

    may_install_key = True

    def __init__(self, url: str, field: SimField, *, owns_field: bool = False) -> None:
        self.url = url
        self.field = field
        self._owns_field = owns_field
        self._channels = [SimChannel(device) for device in field.devices.values()]

    async def discover(self) -> list[Channel]:
        self.field.start()
        return list(self._channels)

    async def silence_all(self) -> None:
        self.field.start()
        for apart_s in _SILENCE_APART_S:
            await asyncio.sleep(apart_s)
            for channel in self._channels:
                channel.silence()

    async def close(self) -> None:
        for channel in self._channels:
            await channel.close()
        if self._owns_field:
            self.field.stop()


@dataclass(frozen=True)
class SimOptions:
    """What may stand in a `sim:` URL. `ppm`: how far clocks go wrong, either way."""

    targets: int = 6
    post: int = 1
    seed: int = 1
    ppm: float = PPM_SPREAD
    loss: float = 0.0
    doubling: float = 0.0


_RANGES = {
    "targets": (0, 64),
    "post": (0, 8),
    "seed": (0, 2**63 - 1),
    "ppm": (0.0, 500.0),
    "loss": (0.0, 1.0),
    "doubling": (0.0, 1.0),
}


def read_options(url: str) -> SimOptions:
    """The options of `sim:NAME=VALUE;NAME=VALUE`; a word with no = in front is only a name.

    Raises ConfigError for an option that does not exist, or a value that it cannot have.
    """
    parts = [part.strip() for part in url.partition(":")[2].split(";") if part.strip()]
    if parts and "=" not in parts[0]:
        parts = parts[1:]
    values: dict[str, Any] = {}
    for part in parts:
        name, _, text = part.partition("=")
        name = name.strip()
        if name not in _RANGES:
            raise _unknown(url, name)
        values[name] = _number(url, name, text.strip())
    return SimOptions(**values)


def medium_of_url(url: str, place: Field | None = None, key: bytes | None = None) -> SimMedium:
    """The medium of a `sim:` URL, with devices of its own.

    With a `place` they are the devices of that field (options for their number are passed over).
    Without a `key` they carry `sim_key(seed)`. Raises ConfigError.
    """
    options = read_options(url)
    if place is not None and key is not None:
        field = sim_field_of(place, key, seed=options.seed, ppm_spread=options.ppm)
    else:
        seats = practice_seats(options.targets, options.post)
        field = SimField(seats, seed=options.seed, key=key, ppm_spread=options.ppm)
    for device in field.devices.values():
        device.line.loss = options.loss
        device.line.doubling = options.doubling
    return SimMedium(url, field, owns_field=True)


def _unknown(url: str, name: str) -> ConfigError:
    near = difflib.get_close_matches(name, _RANGES, n=1, cutoff=0.0)[0]
    remedy = f'The nearest is "{near}"; there are {", ".join(_RANGES)}.'
    return ConfigError(f'{url}: there is no option "{name}".', remedy=remedy)


def _number(url: str, name: str, text: str) -> float:
    low, high = _RANGES[name]
    try:
        value: float | None = type(low)(text)
    except ValueError:
        value = None
    if value is None or not low <= value <= high:
        nearest = low if value is None or not value > high else high
        raise ConfigError(
            f'{url}: {name} cannot be "{text}".',
            remedy=f"It is from {low} to {high}; the nearest is {name}={nearest}.",
        )
    return value
