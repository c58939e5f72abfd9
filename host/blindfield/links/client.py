"""The host's side of the sealed link: hello, open, requests, answers.

The counterpart of `fieldcore/opening.py`. A request that finds no answer goes out again as the
same bytes, which the device answers from memory: lost and doubled frames carry nothing out twice.
"""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from blindfield.links.caller import Caller, Heard, Values
from blindfield.links.channel import Channel, ChannelState, Patience
from blindfield.links.clock import ClockMap, Clocks, Exchange
from blindfield.links.handshake import Hello, Hellos
from blindfield.links.records import RECORD_BYTES
from blindfield.model.errors import ProtocolError, Refused
from blindfield.model.messages import BY_ID, BY_NAME, MAJOR, MINOR, REFUSALS
from fieldcore import message, opening, wire
from fieldcore.compat import same
from fieldcore.instant import total_us
from fieldcore.seal import Key

_NONCE_BYTES = 12
_OPEN_ROUNDS = 8
_OVERTAKEN = (wire.NO_BAD_TAG, wire.NO_NO_OPENING)
_REOPENINGS = 3


@dataclass
class _Sealed:
    """The present opening as the host holds it."""

    device_id: bytes
    key: Key
    counter: int = 0

    def tag(self, way: bytes, body: bytes) -> bytes:
        return opening.seal_tag(self.key, way, self.device_id, self.counter, body)


class _NoOpening(Exception):
    """The device has no opening for us."""


class DeviceClient(Caller):
    """Speaks with one device over one channel; everything here runs on the loop.

    `hello` is what the device said last, `clocks` what was learned of each clock met.
    `on_restart()`: the device's clock began anew. See `Caller` for the rest of the surface.
    """

    def __init__(
        self,
        channel: Channel,
        field_key: bytes,
        *,
        name: str | None = None,
        patience: Patience | None = None,
    ) -> None:
        super().__init__(
            channel,
            name or channel.name,
            patience or getattr(channel, "patience", None) or Patience(),
        )
        self.hello: Hello | None = None
        self.clocks = Clocks()
        self.on_restart: Callable[[], None] = lambda: None
        self._field_key = Key(field_key)
        self._sealed: _Sealed | None = None
        self._lock = asyncio.Lock()

    @property
    def clock(self) -> ClockMap:
        """The map of the device's present clock (empty until `sync`)."""
        clock_id = self.hello.clock_id if self.hello else 0
        return self.clocks.map_of(clock_id) or ClockMap(clock_id)

    # What may be asked

    async def connect(self) -> Hello:
        """Hello, version check and a fresh opening, on a channel opened if it was not.

        Raises LinkAbsent, LinkBusy, LinkDenied, LinkLost, VersionError, Refused (a wrong key:
        `bad_tag`; none at all: `no_key`).
        """
        async with self._lock:
            if self.channel.state is not ChannelState.OPEN:
                with self.under_our_name():
                    await self.channel.open()
            await self._open()
        assert self.hello is not None
        return self.hello

    async def request(
        self, message_name: str, *fields: object, timeout_s: float | None = None
    ) -> dict[str, Any]:
        """Ask sealed, and give the fields of the reply by name, with its "message".

        `timeout_s` bounds the whole of it; without it the patience of the link does. Opens first
        when there is no opening. Raises Refused, LinkLost, VersionError, ProtocolError; ValueError
        for fields that do not fit the message.
        """
        return _by_name((await self._request(message_name, fields, timeout_s)).found)

    async def sync(self, exchanges: int, spacing_s: float = 0.0) -> list[Exchange]:
        """So many looks at the device's clock, one after the other, added to `clocks`.

        The next one begins `spacing_s` after the one before, or when that one is over.
        """
        learned = []
        loop = asyncio.get_running_loop()
        begun_s = loop.time()
        for number in range(exchanges):
            if number and loop.time() < begun_s + spacing_s:
                await asyncio.sleep(begun_s + spacing_s - loop.time())
            begun_s = loop.time()
            heard = await self._request("clock", (), None)
            said = _by_name(heard.found)
            device_us = total_us(said["lap"], said["ms"], said["us"])
            exchange = Exchange(heard.sent_s, device_us, heard.received_s, said["clock_id"])
            self.clocks.add(exchange)
            assert self.hello is not None
            self._met(replace(self.hello, clock_id=exchange.clock_id))  # new after a deep sleep
            learned.append(exchange)
        return learned

    async def status(self) -> dict[str, Any]:
        """The fields of `status_is`."""
        return await self.request("status")

    async def fetch(self, journal_id: int, acked_seq: int) -> tuple[int, int, list[bytes]]:
        """(journal_id, last_seq, records after `acked_seq`), records of 32 bytes.

        It tells the device that all up to `acked_seq` of that journal is on disk here. Another
        journal_id in the answer: nothing was acknowledged, and its records come from the first.
        """
        said = await self.request("fetch", journal_id, acked_seq)
        data = said["records"]
        if len(data) % RECORD_BYTES:
            raise self._odd("sent a record cut short")
        records = [data[at : at + RECORD_BYTES] for at in range(0, len(data), RECORD_BYTES)]
        return said["journal_id"], said["last_seq"], records

    async def close(self) -> None:
        """Close the channel; whoever waits for an answer gets LinkLost."""
        await self.channel.close()

    # Opening

    async def _open(self) -> None:
        """Each hello, a doubled one too, makes the device forget the nonce it gave before; so a
        refusal may mean one that was overtaken, and only a row of them is believed.
        """
        hellos = Hellos(self.name)
        for left in reversed(range(_OPEN_ROUNDS)):
            hello = hellos.spare.pop() if hellos.spare else await self._greet(hellos)
            try:
                await self._open_with(hello, hellos)
            except Refused as error:
                if not left or error.code not in _OVERTAKEN:
                    raise
                await asyncio.sleep(self.patience.first_s)  # for what is still under way
            else:
                self._met(hello)
                return

    async def _greet(self, hellos: Hellos) -> Hello:
        def wanted(values: Values) -> Hello | Exception | None:
            return hellos.fresh(values) or self._refusal_about(wire.HELLO, values)

        return (await self.call(message.pack(wire.HELLO, MAJOR, MINOR), wanted)).found

    async def _open_with(self, hello: Hello, hellos: Hellos) -> None:
        names = (hello.device_nonce, secrets.token_bytes(_NONCE_BYTES), hello.device_id)
        key = opening.link_key(self._field_key, *names)
        right = opening.opened_tag(key, hello.device_id)
        doubts = 0

        def wanted(values: Values) -> Key | Exception | None:
            nonlocal doubts
            if values[0] == wire.OPENED and same(values[1], right):
                return key
            another = hellos.fresh(values)
            if isinstance(another, Hello):
                hellos.spare.append(another)
                return None
            refusal = self._refusal_about(wire.OPEN, values)
            if refusal and refusal.code in _OVERTAKEN:
                doubts += 1  # the first may be about the open before; ours goes out once more
                return refusal if doubts > 1 else None
            return refusal

        tag = opening.open_tag(self._field_key, *names)
        await self.call(message.pack(wire.OPEN, names[1], tag), wanted)
        self._sealed = _Sealed(hello.device_id, key)

    def _met(self, hello: Hello) -> None:
        restarted = self.hello is not None and self.hello.clock_id != hello.clock_id
        self.hello = hello
        if restarted:
            self.on_restart()

    # Requests

    async def _request(
        self, message_name: str, fields: tuple[object, ...], timeout_s: float | None
    ) -> Heard[Values]:
        body = message.pack(BY_NAME[message_name].id, *fields)
        try:
            async with asyncio.timeout(timeout_s), self._lock:
                heard = await self._repeat(body)
        except TimeoutError as error:
            raise self.given_up(f"gave no answer within {timeout_s:g} s") from error
        if heard.found[0] == wire.REFUSED:
            raise self._refused(heard.found[1])
        return heard

    async def _repeat(self, body: bytes) -> Heard[Values]:
        """Ask; after a restart of the device open anew and ask again (all requests allow it)."""
        for _ in range(_REOPENINGS):
            if self._sealed is None:
                await self._open()
            assert self._sealed is not None
            try:
                return await self._ask_sealed(self._sealed, body)
            except _NoOpening:
                self._sealed = None
        raise self._refused(wire.NO_NO_OPENING)

    async def _ask_sealed(self, sealed: _Sealed, body: bytes) -> Heard[Values]:
        sealed.counter += 1
        counter = sealed.counter

        def wanted(values: Values) -> Values | Exception | None:
            if values[0] == wire.REPLY and values[1] == counter:
                right = sealed.tag(opening.TO_HOST, values[2])
                return self._inside(values[2]) if same(values[3], right) else None
            if values == [wire.REFUSED, wire.NO_NO_OPENING, wire.REQUEST]:
                return _NoOpening()
            # `stale` and `bad_tag` answer a frame that was doubled or changed on the way: the
            # answer to ours, or another try of ours, is still to come.
            return None

        tag = sealed.tag(opening.TO_DEVICE, body)
        return await self.call(message.pack(wire.REQUEST, counter, body, tag), wanted)

    def _inside(self, body: bytes) -> Values | Exception:
        try:
            return message.unpack(body)
        except message.Refusal:
            return self._odd("sent an answer that this program cannot read")

    # Errors

    def _odd(self, what: str) -> ProtocolError:
        remedy = "Bring its program and Blindfield to the same version."
        return ProtocolError(f"{what}.", device=self.name, remedy=remedy)

    def _refused(self, code: int) -> Refused:
        known = 1 <= code <= len(REFUSALS)
        what = REFUSALS[code - 1][1] if known else f"said no, for a reason unknown here ({code})"
        return Refused(f"{what}.", code=code, device=self.name)

    def _refusal_about(self, about: int, values: Values) -> Refused | None:
        if values[0] == wire.REFUSED and values[2] == about:
            return self._refused(values[1])
        return None


def _by_name(values: Values) -> dict[str, Any]:
    spec = BY_ID[values[0]]
    fields = zip((field.name for field in spec.fields), values[1:], strict=True)
    return {"message": spec.name, **dict(fields)}
