"""Devices that take turns on the connections a computer holds at once."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

import pytest

from blindfield.links.ble_turns import DWELL_S, Turns
from blindfield.links.virtual_time import run_virtual


class Taker:
    def __init__(self, turns: Turns, name: str, log: list[tuple[float, str]]) -> None:
        self.turns, self.name, self.log = turns, name, log
        self.park_s = 0.0
        self.connecting_s = 0.0

    async def park(self) -> None:
        await asyncio.sleep(self.park_s)

    async def take(self, **how: Any) -> None:
        await self.turns.take(self, **how)
        await asyncio.sleep(self.connecting_s)
        self.turns.begin(self)
        self.log.append((round(asyncio.get_running_loop().time(), 2), self.name))


def turning(most: int, act: Callable[[Turns, list[Taker], list[Any]], Any], count: int = 5) -> Any:
    async def main() -> Any:
        turns, log = Turns(most), []
        takers = [Taker(turns, str(number), log) for number in range(count)]
        begun_s = asyncio.get_running_loop().time()
        await act(turns, takers, log)
        turns.close()
        return [(round(at_s - begun_s, 1), name) for at_s, name in log]

    return run_virtual(main())


def test_who_waits_longest_follows_who_holds_longest() -> None:
    async def act(turns: Turns, takers: list[Taker], log: list[Any]) -> None:
        await asyncio.gather(*(taker.take() for taker in takers))
        assert turns.held == 2

    served = turning(2, act)
    assert [name for _, name in served] == ["0", "1", "2", "3", "4"]
    assert [at_s for at_s, _ in served] == pytest.approx(
        [0, 0, DWELL_S, DWELL_S, 2 * DWELL_S], abs=0.3
    )


def test_the_time_of_a_turn_begins_with_the_connection() -> None:
    async def act(turns: Turns, takers: list[Taker], log: list[Any]) -> None:
        takers[0].connecting_s = 5.0
        first = asyncio.create_task(takers[0].take())
        await asyncio.sleep(0.01)
        await takers[1].take()
        await first

    served = turning(1, act)
    assert [name for _, name in served] == ["0", "1"]
    assert served[1][0] == pytest.approx(5.0 + DWELL_S, abs=0.3)


def test_nobody_is_parked_while_nobody_waits() -> None:
    async def act(turns: Turns, takers: list[Taker], log: list[Any]) -> None:
        await takers[0].take()
        await takers[1].take()
        await asyncio.sleep(100)
        assert turns.held == 2

    assert len(turning(2, act)) == 2


def test_the_urgent_one_is_next_at_once() -> None:
    async def act(turns: Turns, takers: list[Taker], log: list[Any]) -> None:
        await takers[0].take()
        waiting = [asyncio.create_task(takers[n].take()) for n in (1, 2)]
        await asyncio.sleep(0.01)
        await takers[3].take(urgent=True)
        await asyncio.gather(*waiting)

    served = turning(1, act)
    assert [name for _, name in served] == ["0", "3", "1", "2"]
    assert served[1][0] < 0.2


def test_who_waits_may_be_hurried() -> None:
    async def act(turns: Turns, takers: list[Taker], log: list[Any]) -> None:
        await takers[0].take()
        waiting = [asyncio.create_task(takers[n].take()) for n in (1, 2)]
        await asyncio.sleep(0.01)
        turns.hurry(takers[2])
        await asyncio.gather(*waiting)

    served = turning(1, act)
    assert [name for _, name in served] == ["0", "2", "1"]
    assert served[1][0] < 0.2


def test_who_gives_up_waiting_leaves_no_place_taken() -> None:
    async def act(turns: Turns, takers: list[Taker], log: list[Any]) -> None:
        await takers[0].take()
        waiting = asyncio.create_task(takers[1].take())
        await asyncio.sleep(0.01)
        waiting.cancel()
        await asyncio.gather(waiting, return_exceptions=True)
        await takers[2].take()
        turns.leave(takers[2])
        assert turns.held == 0

    assert [name for _, name in turning(1, act)] == ["0", "2"]


def test_who_gives_up_as_its_turn_comes_gives_it_back() -> None:
    async def act(turns: Turns, takers: list[Taker], log: list[Any]) -> None:
        await takers[0].take()
        waiting = asyncio.create_task(takers[1].take())
        await asyncio.sleep(0.01)
        turns.leave(takers[0])
        waiting.cancel()
        await asyncio.gather(waiting, return_exceptions=True)
        assert turns.held == 0

    turning(1, act)
