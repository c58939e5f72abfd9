"""What the rest of the program knows of a way to a device: whole frames, host times, a state."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

BROADCAST = 255
DEVICE = 1
"""Address of the one device at the far end of a point-to-point channel; the host is 0."""


class ChannelState(StrEnum):
    OPEN = "open"
    LOST = "lost"
    CLOSED = "closed"


@dataclass(frozen=True)
class Patience:
    """How long to wait for an answer before the same bytes go out again, and how often.

    The default suits a wire, where a round trip takes a few milliseconds.
    """

    first_s: float = 0.060
    growth: float = 1.6
    longest_s: float = 1.0
    tries: int = 8

    def wait_s(self, attempt: int) -> float:
        """Seconds to wait after the attempt, counted from 0."""
        return float(min(self.first_s * self.growth**attempt, self.longest_s))

    @property
    def total_s(self) -> float:
        """Seconds until a call is given up."""
        return sum(self.wait_s(attempt) for attempt in range(self.tries))


class Channel(Protocol):
    """One way to one device. All callbacks come on the loop.

    `on_frame(address, body, host_s)`: a whole frame, and when its last byte was here. A channel
    that needs another patience than a wire's has one as `patience`, and one that goes by radio
    says so as `is_radio`.
    """

    name: str
    state: ChannelState
    on_frame: Callable[[int, bytes, float], None]
    on_state: Callable[[ChannelState], None]

    async def open(self) -> None:
        """Open, or open again after LOST. Raises LinkAbsent, LinkBusy, LinkDenied."""

    def send(self, body: bytes, address: int = DEVICE) -> float:
        """Hand a frame over; the host time just before (no byte left sooner). Raises LinkLost."""
        ...

    async def close(self) -> None:
        """Give the port back; the channel may be opened again."""


class Medium(Protocol):
    """All channels that one URL names.

    A medium slower than a wire says so: `start_lead_s`, how far ahead a start is to be set, and
    `clock_width_s`, how well a clock must be known for a run. `unreached`, where there is one:
    names of those that the last `silence_all` did not get to.
    """

    url: str
    may_install_key: bool

    async def discover(self) -> list[Channel]:
        """The channels there are now, not opened; the same objects each time."""
        ...

    async def silence_all(self) -> None:
        """Three unsealed silence frames on every channel, open or not, that takes them."""

    async def close(self) -> None: ...


def no_frame(address: int, body: bytes, host_s: float) -> None:
    """The `on_frame` of a channel nobody listens to."""


def no_state(state: ChannelState) -> None:
    """The `on_state` of a channel nobody listens to."""
