"""The reconnect machine against a real device core on virtual time."""

import asyncio
from collections.abc import Awaitable, Callable
from itertools import pairwise

import pytest

from blindfield.links.channel import ChannelState
from blindfield.links.client import DeviceClient
from blindfield.links.link import REST_S, DeviceLink, LinkState
from blindfield.links.virtual_time import run_virtual
from blindfield.model.errors import LinkAbsent, LinkLost, Refused
from fieldcore import wire
from support.memory_link import KEY, MemoryChannel


class Watched:
    """A running link, and what it said with the time."""

    def __init__(self, line: MemoryChannel, key: bytes = KEY) -> None:
        self.line = line
        self.client = DeviceClient(line, key, name="4")
        self.link = DeviceLink(self.client)
        self.link.on_up = lambda hello, restarted: self.said.append(("up", restarted))
        self.link.on_lost = lambda why: self.said.append(("lost", why))
        self.said: list[tuple[str, object]] = []
        self.running = asyncio.create_task(self.link.run())


def watch(act: Callable[[Watched], Awaitable[None]], key: bytes = KEY) -> None:
    async def run() -> None:
        watched = Watched(MemoryChannel(), key)
        await act(watched)
        await watched.link.close()
        await watched.running

    run_virtual(run())


def now_s() -> float:
    return asyncio.get_running_loop().time()


def test_a_link_comes_up_and_says_so() -> None:
    async def act(seen: Watched) -> None:
        hello = await seen.link.wait_up(1)
        assert hello == seen.client.hello
        assert seen.link.state is LinkState.UP
        assert seen.link.failure is None
        assert seen.said == [("up", False)]
        assert await seen.link.wait_up(0) == hello

    watch(act)


def test_an_unplugged_device_is_lost_and_comes_back_with_its_port() -> None:
    async def act(seen: Watched) -> None:
        await seen.link.wait_up(1)
        seen.line.unplug()
        await asyncio.sleep(0.1)
        assert seen.link.state is LinkState.LOST
        assert seen.said[1:] == [("lost", "the connection is gone")]
        await asyncio.sleep(20)
        assert isinstance(seen.link.failure, LinkAbsent)
        with pytest.raises(LinkAbsent, match=r"^4: There is no such port"):
            await seen.link.wait_up(0.1)
        seen.line.away = False
        await seen.link.wait_up(REST_S[1] + 0.1)
        assert seen.said[2:] == [("up", False)]
        assert (await seen.client.status())["state"] == 0

    watch(act)


def test_a_device_that_stops_answering_is_lost_by_the_next_request() -> None:
    async def act(seen: Watched) -> None:
        await seen.link.wait_up(1)
        seen.line.cut = True
        with pytest.raises(LinkLost):
            await seen.client.status()
        await asyncio.sleep(0)
        assert seen.link.state is LinkState.LOST
        seen.line.cut = False
        await seen.link.wait_up(10)
        assert [kind for kind, _ in seen.said] == ["up", "lost", "up"]
        assert seen.line.state is ChannelState.OPEN
        assert seen.line.opened == 1

    watch(act)


def test_a_restart_while_away_is_told_on_coming_back() -> None:
    async def act(seen: Watched) -> None:
        restarts: list[int] = []
        seen.client.on_restart = lambda: restarts.append(1)
        await seen.link.wait_up(1)
        seen.line.unplug()
        seen.line.reboot()
        seen.line.away = False
        await asyncio.sleep(1)
        assert seen.said[-1] == ("up", True)
        assert restarts == [1]

    watch(act)


def test_rests_grow_to_the_longest_and_start_anew_after_a_success() -> None:
    async def act(seen: Watched) -> None:
        tries: list[float] = []
        seen.line.away = True
        opening = seen.line.open

        async def noted() -> None:
            tries.append(now_s())
            await opening()

        seen.line.open = noted  # type: ignore[method-assign]
        await asyncio.sleep(30)
        rests = [later - earlier for earlier, later in pairwise(tries)]
        assert rests[:7] == pytest.approx([0.2, 0.4, 0.8, 1.6, 3.2, 5.0, 5.0])
        seen.line.away = False
        await seen.link.wait_up(6)
        seen.line.unplug()
        lost_s = now_s()
        await asyncio.sleep(0.3)
        assert tries[-1] - lost_s == pytest.approx(REST_S[0])

    watch(act)


def test_a_wrong_key_is_told_at_once_and_tried_again_later() -> None:
    async def act(seen: Watched) -> None:
        with pytest.raises(Refused, match="wrong key") as caught:
            await seen.link.wait_up(60)
        assert caught.value.code == wire.NO_BAD_TAG
        assert now_s() < 3
        sent = len(seen.line.sent)
        await asyncio.sleep(10)
        assert len(seen.line.sent) > sent
        assert seen.said == []

    watch(act, key=bytes(32))


def test_waiting_ends_with_its_own_time_when_nothing_was_tried_yet() -> None:
    async def run() -> None:
        link = DeviceLink(DeviceClient(MemoryChannel(), KEY, name="4"))
        with pytest.raises(LinkLost, match=r"^4: did not answer within 2 s"):
            await link.wait_up(2)
        assert now_s() == pytest.approx(2)

    run_virtual(run())


def test_closing_ends_the_run_and_those_who_wait() -> None:
    async def act(seen: Watched) -> None:
        seen.line.away = True
        await asyncio.sleep(0.1)
        waiting = asyncio.create_task(seen.link.wait_up(60))
        await asyncio.sleep(0.1)
        await seen.link.close()
        with pytest.raises(LinkLost, match="was closed"):
            await waiting
        await seen.running
        assert seen.link.state is LinkState.CLOSED
        assert seen.line.state is ChannelState.CLOSED
        await seen.link.run()  # closed for good
        assert now_s() < 1

    watch(act)


def test_cancelling_the_run_is_no_closing() -> None:
    async def act(seen: Watched) -> None:
        await seen.link.wait_up(1)
        seen.running.cancel()
        with pytest.raises(asyncio.CancelledError):
            await seen.running
        assert not seen.link.is_closed
        seen.running = asyncio.create_task(seen.link.run())
        await asyncio.sleep(0.1)
        assert [kind for kind, _ in seen.said] == ["up", "up"]

    watch(act)
