"""Who is on the pair: a binary search over device numbers, answered by all who begin alike.

As in the discovery of ANSI E1.20 (from memory): a branch that answers in one clean frame holds a
device, which is given a seat and answers no more; one that answers in junk is halved; one that
does not answer is empty.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field

from blindfield.links.bus_line import Answer
from blindfield.model.errors import LinkError
from fieldcore import message, wire

NUMBER_BITS = 64
_AT_LEAST = 400  # questions: numbers alike in all but their last bits cost two a bit
_EACH = 30
_EMPTY = 2  # times in a row that nobody at all is left: one question may be lost to noise
_SURE = 3  # junk so often, from one number alone: two devices have it

Ask = Callable[[int, bytes], Awaitable[Answer]]
"""(bits, prefix) -> what came back."""

Seat = Callable[[bytes], Awaitable[bool]]
"""Give this device a seat; whether it said so."""

Mute = Callable[[bytes], Awaitable[None]]
"""Those with this number answer no more in this search."""


@dataclass
class Found:
    """Numbers of devices; `twins`: those that more than one device has."""

    numbers: list[bytes] = field(default_factory=list)
    twins: list[bytes] = field(default_factory=list)


async def search(ask: Ask, seat: Seat, mute: Mute) -> Found:
    """All who have no seat in this search. Raises LinkError when there is no end to junk."""
    walk = _Search(ask, seat, mute)
    empty = 0
    while empty < _EMPTY:  # whoever was drowned by another answers when all are asked once more
        empty = 0 if await walk.branch(0, bytes(NUMBER_BITS // 8)) else empty + 1
    return walk.found


class _Search:
    def __init__(self, ask: Ask, seat: Seat, mute: Mute) -> None:
        self.found = Found()
        self._ask, self._seat, self._mute = ask, seat, mute
        self._asked = 0

    async def branch(self, bits: int, prefix: bytes, *, expected: bool = False) -> bool:
        """Whether anybody was heard in it. `expected`: somebody must be, so nothing is doubted."""
        answer = await self._question(bits, prefix)
        if answer.is_nothing and expected:
            answer = await self._question(bits, prefix)
        if answer.is_nothing:
            return False
        if not await self._seat_all(answer):
            if bits < NUMBER_BITS:
                await self._halves(bits, prefix)
            elif await is_twin(self._ask, prefix):
                self.found.twins.append(prefix)
                await self._mute(prefix)
        return True

    async def _halves(self, bits: int, prefix: bytes) -> None:
        low, high = (bits + 1, prefix), (bits + 1, _with_bit(prefix, bits))
        heard = await self.branch(*low)
        heard = await self.branch(*high, expected=not heard) or heard
        if not heard:  # the question to the low half was lost then, not the answer
            await self.branch(*low, expected=True)

    async def _question(self, bits: int, prefix: bytes) -> Answer:
        self._asked += 1
        if self._asked > _AT_LEAST + _EACH * len(self.found.numbers):
            raise too_noisy()
        return await self._ask(bits, prefix)

    async def _seat_all(self, answer: Answer) -> bool:
        """Whether somebody whose number came through clean took a seat."""
        any_new = False
        for number in numbers_in(answer):
            if number not in self.found.numbers and await self._seat(number):
                self.found.numbers.append(number)
                any_new = True
        return any_new


def too_noisy() -> LinkError:
    return LinkError(
        "The pair is too noisy to find out who is on it.",
        remedy="Check its end resistors and bias; unplug one branch after the other.",
    )


async def is_twin(ask: Ask, number: bytes) -> bool:
    """Junk each time from those who have this one number."""
    for _ in range(_SURE):
        if not (await ask(NUMBER_BITS, number)).garbled:
            return False
    return True


def numbers_in(answer: Answer) -> list[bytes]:
    """The numbers that came through clean."""
    found = []
    for body, _ in answer.bodies:
        try:
            values = message.unpack(body)
        except message.Refusal:
            continue
        if values[0] == wire.HERE:
            found.append(values[1])
    return found


def _with_bit(prefix: bytes, place: int) -> bytes:
    changed = bytearray(prefix)
    changed[place >> 3] |= 0x80 >> (place & 7)
    return bytes(changed)
