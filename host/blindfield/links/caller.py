"""One call at a time: a frame goes out, again if need be, until one comes that answers it."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from blindfield.links.channel import Channel, ChannelState, Patience
from blindfield.links.handshake import foreign_hello
from blindfield.model.errors import LinkError, LinkLost
from fieldcore import message, wire

T = TypeVar("T")
Values = list[Any]


@dataclass(frozen=True)
class Heard(Generic[T]):
    """What was made of the answer, and host times around the device's taking of the call.

    `sent_s` is the first sending: the device may have answered that one, even when only the
    answer to a later one came through.
    """

    found: T
    sent_s: float
    received_s: float


class Caller:
    """Takes a channel over: its callbacks lead here. `name` stands in sentences.

    `on_data()`: the device hints at new records. `on_lost(why)`: the channel is gone, or the
    device answers no more. `retries` counts frames sent again, `ignored` frames that answered
    nothing that was asked.
    """

    def __init__(self, channel: Channel, name: str, patience: Patience) -> None:
        self.channel = channel
        self.name = name
        self.patience = patience
        self.retries = 0
        self.ignored = 0
        self.on_data: Callable[[], None] = lambda: None
        self.on_lost: Callable[[str], None] = lambda _why: None
        self._waiting: asyncio.Future[tuple[Any, float]] | None = None
        self._wanted: Callable[[Values], Any] = lambda _values: None
        channel.on_frame = self._take
        channel.on_state = self._channel_is

    async def call(self, body: bytes, wanted: Callable[[Values], T | Exception | None]) -> Heard[T]:
        """Send until `wanted` makes something of a frame that came; raise it if it is an error.

        `wanted` gives None for a frame that is no answer. Not for two tasks at once. Raises
        LinkLost when the patience is over or the channel is gone.
        """
        self._waiting, self._wanted = asyncio.get_running_loop().create_future(), wanted
        try:
            sent_s = self._send(body)
            for attempt in range(self.patience.tries):
                if attempt:
                    self.retries += 1
                    self._send(body)
                await asyncio.wait((self._waiting,), timeout=self.patience.wait_s(attempt))
                if self._waiting.done():
                    found, received_s = self._waiting.result()
                    if isinstance(found, Exception):
                        raise found
                    return Heard(found, sent_s, received_s)
        finally:
            self._waiting = None
        raise self.given_up(f"gave no answer to {self.patience.tries} calls")

    def given_up(self, why: str) -> LinkLost:
        """Tell whoever looks after the link, and give the error to raise."""
        self.on_lost(why)
        return LinkLost(f"{why}.", device=self.name, remedy="Check its cable and its battery.")

    def _send(self, body: bytes) -> float:
        with self.under_our_name():
            return self.channel.send(body)

    @contextlib.contextmanager
    def under_our_name(self) -> Iterator[None]:
        """A channel's errors name the channel; people know the device by its own name."""
        try:
            yield
        except LinkError as error:
            raise type(error)(error.what, device=self.name, remedy=error.remedy) from error

    def _take(self, address: int, body: bytes, host_s: float) -> None:
        try:
            values = foreign_hello(body) or message.unpack(body)
        except message.Refusal:
            self.ignored += 1
            return
        if values[0] == wire.HAVE_DATA:
            self.on_data()
            return
        waiting = self._waiting
        found = self._wanted(values) if waiting and not waiting.done() and address == 0 else None
        if waiting is None or found is None:
            self.ignored += 1
        else:
            waiting.set_result((found, host_s))

    def _channel_is(self, state: ChannelState) -> None:
        if state is ChannelState.OPEN:
            return
        why = (
            "the connection is gone" if state is ChannelState.LOST else "the connection was closed"
        )
        error = LinkLost(f"{why}.", device=self.name)
        if self._waiting and not self._waiting.done():
            self._waiting.set_result((error, 0.0))
        if state is ChannelState.LOST:
            self.on_lost(why)
