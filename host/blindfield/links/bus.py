"""The master of the shared pair: seats, polls, questions in turn, silence, and what goes wrong."""

from __future__ import annotations

import asyncio
import contextlib
import secrets
import statistics
from collections.abc import Callable, Coroutine, Sequence
from typing import Any

from blindfield.links.bus_line import Answer, Line, Rank
from blindfield.links.bus_port import BusPort
from blindfield.links.bus_search import NUMBER_BITS, is_twin, search, too_noisy
from blindfield.links.bus_seats import (
    FIRST_ADDRESS,
    LAST_ADDRESS,
    SLOW_S,
    Seat,
    token_in,
)
from blindfield.links.bus_troubles import Troubles
from blindfield.links.channel import BROADCAST
from blindfield.model.errors import LinkError, LinkLost
from fieldcore import message, wire
from fieldcore.compat import crc32

ROUND_S = 0.25
SLOW_ADAPTER_S = 0.008
"""From here on an adapter's share is told with its remedy: 32 polls a round become too slow."""

_ADDRESSES = LAST_ADDRESS - FIRST_ADDRESS + 1
_LOOKS = 8
_SEAT_TRIES = 5
_SEAT_NOTHING = 2  # times without a sound: it is not there
_LISTENINGS = 3
_TRUST_S = 0.05  # an adapter's share is taken for no more than this
_TELLINGS = 2
_SPARE_S = 0.001
_ROUGH_S = 0.005  # on top of the delay of one first answer, until it is measured


class Bus:
    """One per port. Its devices are told apart by number; `seats` is who was ever found here.

    `on_news(seat, host_s)`: it has something to fetch, or no opening. `on_isolated(seat)`: it is
    left alone, see `seat.isolated`. `on_gone()`: the port broke. `troubles` tells people what is
    wrong. `round_s`: how long the last round of polls took.
    """

    def __init__(self, port: BusPort) -> None:
        self.port = port
        self.line = Line(port)
        self.seats: dict[bytes, Seat] = {}
        self.twins: list[bytes] = []
        self.troubles = Troubles(self.line)
        self.adapter_s: float | None = None
        self.round_s = 0.0
        self.on_news: Callable[[Seat, float], None] = lambda _seat, _host_s: None
        self.on_isolated: Callable[[Seat], None] = lambda _seat: None
        self.on_gone: Callable[[], None] = lambda: None
        self._search = secrets.randbelow(0x10000)
        self._tasks: set[asyncio.Task[Any]] = set()
        self._opening = asyncio.Lock()
        self._rounds_task: asyncio.Task[None] | None = None
        port.on_gone = self._went
        self.line.on_foreign = self._heard_foreign

    # Life

    async def open(self) -> None:
        """Raises LinkAbsent, LinkBusy, LinkDenied."""
        async with self._opening:  # each channel opens it anew after a loss
            await self.port.open()
        if self._rounds_task is None or self._rounds_task.done():
            self._rounds_task = self.spawn(self._rounds())

    async def close(self) -> None:
        tasks = list(self._tasks)
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        self._rounds_task = None
        self.port.close()

    def spawn(self, work: Coroutine[Any, Any, None]) -> asyncio.Task[None]:
        """Go on with it beside, until the bus is closed."""
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return task

    def _went(self) -> None:
        if self._rounds_task is not None:
            self._rounds_task.cancel()
            self._rounds_task = None
        self.on_gone()

    # Who is there

    async def find(self, known: Sequence[bytes] = ()) -> None:
        """Who is there: `known` by their numbers, then whoever else is new.

        Raises LinkError when the line is too noisy and nobody at all was found.
        """
        await self._look_at_twins()
        missing = [n for n in known if n not in self.twins and not await self._is_seated(n)]
        if await self._is_noisy():
            if all(seat.is_absent for seat in self.seats.values()):
                raise too_noisy()
            self.troubles.say(f"{too_noisy()} Only devices that the field names were called.")
            return
        self.twins += [number for number in missing if await is_twin(self._ask_anew, number)]
        found = await search(self._ask_branch, self.seat, self._mute)
        self.twins += [number for number in found.twins if number not in self.twins]
        for number in self.twins:
            await self._mute(number)

    async def _is_seated(self, number: bytes) -> bool:
        seat = self.seats.get(number)
        return (seat is not None and not seat.misses) or await self.seat(number)

    async def _is_noisy(self) -> bool:
        """Whether something is heard where nobody was asked: a number drawn now is nobody's."""
        nobody = secrets.token_bytes(NUMBER_BITS // 8)
        heard = [await self._ask_branch(NUMBER_BITS, nobody) for _ in range(_LISTENINGS)]
        return sum(answer.garbled for answer in heard) > _LISTENINGS // 2

    async def _look_at_twins(self) -> None:
        """Who shared a number shares it no more when one of the two is unplugged."""
        for number in list(self.twins):
            if not await is_twin(self._ask_anew, number):
                self.twins.remove(number)
                await self.seat(number)

    async def _ask_anew(self, bits: int, prefix: bytes) -> Answer:
        """In another search, in which those who are muted or seated answer too."""
        return await self._ask_branch(bits, prefix, self._search ^ 1)

    def _heard_foreign(self, body: bytes) -> None:
        """Whoever another host seated elsewhere, or on whose seat it put another, is seated anew
        before the next question."""
        try:
            values = message.unpack(body)
        except message.Refusal:
            return
        if values[0] == wire.SEAT:
            for seat in self.seats.values():
                if (seat.number == values[1]) != (seat.address == values[2]):
                    seat.misses = max(1, seat.misses)

    async def _mute(self, number: bytes) -> None:
        body = message.pack(wire.SEAT, number, 0, self._search)
        for _ in range(_TELLINGS):
            async with self.line.turn(Rank.SEARCH):
                await self.line.tell(body)

    async def _ask_branch(self, bits: int, prefix: bytes, search: int | None = None) -> Answer:
        async with self.line.turn(Rank.SEARCH):
            number = self._search if search is None else search
            body = message.pack(wire.FIND, number, bits, prefix)
            answer = await self.line.ask(BROADCAST, body, to_the_end=True)
            if self.adapter_s is None and answer.delay_s is not None:
                self._trust(answer.delay_s + _ROUGH_S)
            return answer

    async def seat(self, number: bytes) -> bool:
        """Give a device its address, the same each time; whether it said that it has it."""
        seat = self.seats.get(number) or Seat(number, self._free_address(number))
        nothing = 0
        for _ in range(_SEAT_TRIES):
            async with self.line.turn(Rank.SEARCH):
                answer = await self.ask_seat(seat)
            nothing += answer.is_nothing
            if nothing == _SEAT_NOTHING:
                break
            if answer.bodies:
                self.seats[number] = seat
                if self.adapter_s is None:
                    await self._measure(seat)
                return True
        return False

    async def ask_seat(self, seat: Seat) -> Answer:
        """In one's turn: "this is your address", answered by a token."""
        body = message.pack(wire.SEAT, seat.number, seat.address, self._search)
        return await self._ask_token(seat, BROADCAST, body)

    def _free_address(self, number: bytes) -> int:
        """The same for a device each time, on every host, as long as no two want the same."""
        taken = {seat.address for seat in self.seats.values()}
        first = crc32(number)
        for step in range(_ADDRESSES):
            address = FIRST_ADDRESS + (first + step) % _ADDRESSES
            if address not in taken:
                return address
        raise LinkError("There is no address left on this pair.", device=self.port.name)

    async def _measure(self, seat: Seat) -> None:
        """The adapter's share of an answer: what its delay holds beyond the bytes."""
        found = []
        for _ in range(_LOOKS):
            async with self.line.turn(Rank.SEARCH):
                answer = await self._ask_token(seat, seat.address, message.pack(wire.POLL))
            if answer.delay_s is not None:
                found.append(answer.delay_s)
        if not found:
            return
        self.adapter_s = max(0.0, statistics.median(found))
        self._trust(max(found) + _SPARE_S)
        if self.adapter_s > SLOW_ADAPTER_S:
            self.troubles.say(
                f"The adapter, or a busy computer, keeps answers back for "
                f"{1000 * self.adapter_s:.0f} ms. {self.port.latency_remedy()}"
            )

    def _trust(self, latency_s: float) -> None:
        self.line.latency_s = min(latency_s, _TRUST_S)

    # Questions

    async def serve(self, seat: Seat, body: bytes) -> Answer:
        """In one's turn: a question of the host's to one device. Raises LinkLost."""
        if seat.misses and not (await self.ask_seat(seat)).bodies:
            return Answer((), False)  # it may have restarted, and then knows its address no more
        answer = await self.line.ask(seat.address, body)
        seat.note(answer, asyncio.get_running_loop().time())
        return answer

    async def silence(self) -> None:
        """Three frames, and a break where something talks over them. Raises LinkLost."""
        async with self.line.turn(Rank.SILENCE):
            await self.line.silence(with_break=self.troubles.talks)

    async def poll_all(self) -> None:
        """One round: everyone who answers, and of those who do not the one whose turn it is."""
        begun_s = asyncio.get_running_loop().time()
        slow = [seat for seat in self.seats.values() if seat.is_absent and not seat.isolated]
        slow.sort(key=lambda seat: seat.tried_s)
        for seat in list(self.seats.values()):
            if seat.isolated or (seat.is_absent and seat is not slow[0]):
                continue
            if seat.is_absent and begun_s - seat.tried_s < SLOW_S:
                continue
            await self._poll(seat)
        self.round_s = asyncio.get_running_loop().time() - begun_s

    async def _poll(self, seat: Seat) -> None:
        async with self.line.turn(Rank.POLL):
            if seat.misses:
                answer = await self.ask_seat(seat)
            else:
                answer = await self._ask_token(seat, seat.address, message.pack(wire.POLL))
        if seat.has_news(answer, asyncio.get_running_loop().time()):
            self.on_news(seat, answer.bodies[0][1])

    async def _ask_token(self, seat: Seat, address: int, body: bytes) -> Answer:
        answer = await self.line.ask(address, body)
        right = tuple(b for b in answer.bodies if (token_in(b[0]) or (0, 0))[1] == seat.address)
        answer = Answer(right, answer.garbled, answer.delay_s)
        seat.note(answer, asyncio.get_running_loop().time())
        return answer

    async def _rounds(self) -> None:
        loop = asyncio.get_running_loop()
        with contextlib.suppress(LinkLost):
            while True:
                begun_s = loop.time()
                await self.poll_all()
                await self._judge()
                await asyncio.sleep(max(0.0, begun_s + ROUND_S - loop.time()))

    # What goes wrong

    async def _judge(self) -> None:
        now_s = asyncio.get_running_loop().time()
        for seat, why in self.troubles.judge(list(self.seats.values()), now_s):
            seat.isolated, seat.isolated_s = why, now_s
            await self._mute(seat.number)  # should it still listen
            self.on_isolated(seat)
