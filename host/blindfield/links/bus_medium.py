"""The medium `bus:PORT`: an RS-485 pair with many devices, each a channel of its own."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable

from blindfield.links.bus import Bus
from blindfield.links.bus_line import Rank
from blindfield.links.bus_port import BusPort
from blindfield.links.bus_seats import Seat
from blindfield.links.channel import (
    BROADCAST,
    DEVICE,
    Channel,
    ChannelState,
    no_frame,
    no_state,
)
from blindfield.model.errors import LinkBusy, LinkError, LinkLost
from blindfield.model.field import Field
from fieldcore import message, wire

AGAIN_S = 10.0
"""One that was left alone is tried once more after this."""

_STICK = 8  # questions in a row to one device: a burst of looks at its clock wants to be close
_HOPS = 6  # of the loop, until the answer has reached whoever asked and the next question is here


class BusChannel:
    """One device on the pair. See `channel.Channel`.

    A frame handed over waits for its turn; the same again while it waits is the same.
    """

    def __init__(self, bus: Bus, seat: Seat, label: str) -> None:
        self.name = f"{bus.port.name}:{label}"
        self.state = ChannelState.CLOSED
        self.on_frame: Callable[[int, bytes, float], None] = no_frame
        self.on_state: Callable[[ChannelState], None] = no_state
        self.seat = seat
        self._bus = bus
        self._outbox: bytes | None = None
        self._carrier: asyncio.Task[None] | None = None

    async def open(self) -> None:
        if self.state is ChannelState.OPEN:
            return
        self._pardon()
        await self._bus.open()
        self.become(ChannelState.OPEN)

    def send(self, body: bytes, address: int = DEVICE) -> float:
        if self.state is not ChannelState.OPEN:
            why = f"It {self.seat.isolated}." if self.seat.isolated else "The port is not open."
            raise LinkLost(why, device=self.name)
        if address == BROADCAST:
            self._bus.spawn(self._tell(body))
        else:
            self._outbox = body
            if self._carrier is None or self._carrier.done():
                self._carrier = self._bus.spawn(self._carry())
        return asyncio.get_running_loop().time()

    async def close(self) -> None:
        self._outbox = None
        if self.state is not ChannelState.CLOSED:
            self.become(ChannelState.CLOSED)

    def become(self, state: ChannelState) -> None:
        if state is not self.state:
            self.state = state
            self.on_state(state)

    def take(self, body: bytes, host_s: float) -> None:
        """A frame from the device."""
        if self.state is ChannelState.OPEN:
            self.on_frame(0, body, host_s)

    def _pardon(self) -> None:
        """Raises LinkError while it is left alone."""
        seat = self.seat
        if not seat.isolated:
            return
        if asyncio.get_running_loop().time() - seat.isolated_s < AGAIN_S:
            raise LinkError(f"It {seat.isolated}.", device=self.name, remedy="Unplug it.")
        seat.isolated, seat.misses, seat.junk = "", 1, 0

    async def _tell(self, body: bytes) -> None:
        with contextlib.suppress(LinkLost):
            async with self._bus.line.turn(Rank.SILENCE):
                await self._bus.line.tell(body)

    async def _carry(self) -> None:
        """Ask what is to be asked, until there is no more."""
        with contextlib.suppress(LinkLost):  # the port's end is told to every channel
            while self._outbox is not None:
                async with self._bus.line.turn(Rank.FRAME):
                    for _ in range(_STICK):
                        if self._outbox is None or self._bus.line.silence_waits:
                            break
                        await self._ask()

    async def _ask(self) -> None:
        body, self._outbox = self._outbox, None
        assert body is not None
        answer = await self._bus.serve(self.seat, body)
        if answer.bodies and self._outbox == body:
            self._outbox = None  # asked for again meanwhile, and answered now
        for found, host_s in answer.bodies:
            self.take(found, host_s)
        for _ in range(_HOPS):
            await asyncio.sleep(0)


class TwinChannel:
    """Two devices with one number: neither can be spoken with, and whoever opens it is told."""

    def __init__(self, bus: Bus, number: bytes) -> None:
        self.name = f"{bus.port.name}:{number.hex()}"
        self.state = ChannelState.CLOSED
        self.on_frame: Callable[[int, bytes, float], None] = no_frame
        self.on_state: Callable[[ChannelState], None] = no_state
        self._bus = bus
        self._number = number

    async def open(self) -> None:
        who = self._bus.troubles.name_of(self._number)
        raise LinkBusy(
            f"Two devices on this pair have one number, that of {who}.",
            device=self.name,
            remedy="Unplug one of them: nobody knows which of the two would be meant.",
        )

    def send(self, body: bytes, address: int = DEVICE) -> float:  # noqa: ARG002
        raise LinkLost("Two devices have this number.", device=self.name)

    async def close(self) -> None: ...


class BusMedium:
    """All devices on one pair. A key never travels on it: whoever taps the pair would have it."""

    may_install_key = False

    def __init__(self, url: str, port: BusPort, place: Field | None = None) -> None:
        self.url = url
        self.bus = Bus(port)
        self._place = place
        self.bus.troubles.name_of = self._name_of
        self.bus.on_news = self._news
        self.bus.on_isolated = self._isolated
        self.bus.on_gone = self._gone
        self._channels: dict[bytes, BusChannel] = {}
        self._twins: dict[bytes, TwinChannel] = {}

    async def discover(self) -> list[Channel]:
        """Finds who is new, and who is there still; the field's own devices are called by their
        numbers first, which is quicker and gets through more noise. Raises LinkError."""
        await self.bus.open()
        place = self._place
        known = [target.device_id for target in place.targets] if place else []
        known += [post.device_id for post in place.posts] if place else []
        await self.bus.find(known)
        for number, seat in self.bus.seats.items():
            if number not in self._channels:
                label = self._known_as(number) or number.hex()
                self._channels[number] = BusChannel(self.bus, seat, label)
        for number in self.bus.twins:
            self._twins.setdefault(number, TwinChannel(self.bus, number))
        here = [channel for channel in self._channels.values() if not channel.seat.is_absent]
        return [*here, *(self._twins[number] for number in self.bus.twins)]

    async def silence_all(self) -> None:
        """Three broadcasts, then a poll of everyone known. A port that cannot be opened is passed
        over, as a channel that takes no frame is on other media."""
        with contextlib.suppress(LinkError):
            await self.bus.open()
            await self.bus.silence()
            await self.bus.poll_all()

    async def close(self) -> None:
        for channel in self._channels.values():
            await channel.close()
        await self.bus.close()

    def _known_as(self, number: bytes) -> str:
        """What the field calls a device; nothing when it does not name it."""
        known = self._place.by_device_id(number) if self._place else None
        return known.name if known else ""

    def _name_of(self, number: bytes) -> str:
        return self._known_as(number) or f"the device {number.hex()}"

    def _news(self, seat: Seat, host_s: float) -> None:
        channel = self._channels.get(seat.number)
        if channel is not None:
            channel.take(message.pack(wire.HAVE_DATA), host_s)

    def _isolated(self, seat: Seat) -> None:
        channel = self._channels.get(seat.number)
        if channel is not None and channel.state is ChannelState.OPEN:
            channel.become(ChannelState.LOST)

    def _gone(self) -> None:
        for channel in self._channels.values():
            if channel.state is ChannelState.OPEN:
                channel.become(ChannelState.LOST)
