"""The one reconnect machine: it keeps a client connected, and says when it is not.

CONNECTING --hello, open--> UP --silence, unplugged--> LOST --a rest--> CONNECTING
     └--no success--> LOST                     every state --close--> CLOSED
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from enum import StrEnum

from blindfield.links.channel import ChannelState
from blindfield.links.client import DeviceClient
from blindfield.links.handshake import Hello
from blindfield.model.errors import BlindfieldError, LinkLost, ProtocolError

REST_S = (0.2, 5.0)
"""The first rest after a loss, and the longest; each rest without success doubles it."""


class LinkState(StrEnum):
    CONNECTING = "connecting"
    UP = "up"
    LOST = "lost"
    CLOSED = "closed"


class DeviceLink:
    """Keeps one client connected while `run()` runs.

    `on_up(hello, restarted)`: connected, now or again; restarted: the device's clock is a new one.
    `on_lost(why)`: it was up and is no more. `failure`: why it is not up, None while it is.
    """

    def __init__(self, client: DeviceClient) -> None:
        self.client = client
        self.state = LinkState.LOST
        self.failure: BlindfieldError | None = None
        self.on_up: Callable[[Hello, bool], None] = _up_unheard
        self.on_lost: Callable[[str], None] = _lost_unheard
        self._why = ""
        self._gone = asyncio.Event()
        self._decided = asyncio.Event()  # up, closed, or failed in a way that waiting does not cure
        self._runner: asyncio.Task[None] | None = None
        client.on_lost = self._went

    @property
    def is_closed(self) -> bool:
        return self.state is LinkState.CLOSED

    async def run(self) -> None:
        """Connect, and connect again, until cancelled or closed."""
        if self.is_closed:
            return
        self._runner = asyncio.current_task()
        rest_s = REST_S[0]
        try:
            while True:
                if await self._rise():
                    rest_s = REST_S[0]
                    await self._gone.wait()
                    self._fall()
                await asyncio.sleep(rest_s)
                rest_s = min(2 * rest_s, REST_S[1])
        except asyncio.CancelledError:
            if not self.is_closed or self._runner is None:
                raise
            self._runner.uncancel()
        finally:
            self._runner = None

    async def wait_up(self, timeout_s: float) -> Hello:
        """The hello once the link is up.

        Raises why it is not: at once for a wrong version or key, else when the time is over.
        """
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(timeout_s):
                await self._decided.wait()
        if self.state is LinkState.UP and self.client.hello:
            return self.client.hello
        raise self.failure or self._lost(f"did not answer within {timeout_s:g} s")

    async def close(self) -> None:
        """End `run()` and close the channel, for good."""
        self.state = LinkState.CLOSED
        self.failure = self._lost("the connection was closed")
        self._decided.set()
        if self._runner:
            self._runner.cancel()
        await self.client.close()

    async def _rise(self) -> bool:
        self.state = LinkState.CONNECTING
        before = self.client.hello
        try:
            hello = await self.client.connect()
        except BlindfieldError as error:
            self.state, self.failure = LinkState.LOST, error
            if isinstance(error, ProtocolError):
                self._decided.set()
            return False
        if self.client.channel.state is ChannelState.OPEN:
            self._gone.clear()  # what went wrong before this success is past
        self.state, self.failure = LinkState.UP, None
        self._decided.set()
        self.on_up(hello, before is not None and before.clock_id != hello.clock_id)
        return True

    def _fall(self) -> None:
        self.state = LinkState.LOST
        self.failure = self._lost(self._why)
        self._decided.clear()
        self.on_lost(self._why)

    def _went(self, why: str) -> None:
        self._why = why
        self._gone.set()

    def _lost(self, what: str) -> LinkLost:
        return LinkLost(f"{what}.", device=self.client.name)


def _up_unheard(hello: Hello, restarted: bool) -> None: ...


def _lost_unheard(why: str) -> None: ...
