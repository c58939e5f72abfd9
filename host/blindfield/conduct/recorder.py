"""Writes every event of a run to the logbook before anything acts on it."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

from blindfield.conduct.crew import Member
from blindfield.conduct.journal_events import event_of
from blindfield.links.clock import Clocks, Exchange
from blindfield.links.records import JournalRecord, decode
from blindfield.links.virtual_time import utc_now
from blindfield.logbook.writer import Writer
from blindfield.model.event_kinds import Source
from blindfield.model.events import Event, utc_text
from blindfield.model.ids import new_host_epoch
from blindfield.model.span import exactly
from fieldcore.instant import split_us

QUIET = ("sends", "rests")
"""Records that only tell what the problem is. While a run is open they stay in the journals of
their devices, unacknowledged, until the close (or until others fill what one reply holds): whoever
counts the rows on disk, which nobody can read, learns neither how many targets send nor when one
begins."""


class Recorder:
    """`run_id` is the open run's, None between runs. `on_event` hears of each event once it is
    on disk; a journal record that was on disk before is not told again.

    Recovery speaks in the time of the process that crashed: `host_epoch` is that one's,
    `shift_s` leads from this loop's time to it, and `past` holds its looks at the clocks.
    `holds_back`: quiet records and what is `said_later` wait for the close (`tell_all`).
    """

    def __init__(self, writer: Writer, on_event: Callable[[Event], None]) -> None:
        self.writer = writer
        self.run_id: bytes | None = None
        self.host_epoch = new_host_epoch()
        self.shift_s = 0.0
        self.past: dict[str, Clocks] = {}
        self.holds_back = True
        self._later: list[Event] = []
        self._on_event = on_event
        self._known: set[tuple[bytes, int, int]] = set()

    async def say(self, kind: str, source: Source = "host", **data: Any) -> None:
        """An event of now by the host or a person."""
        await self._keep(self._event(kind, source, data))

    async def say_later(self, kind: str, **data: Any) -> None:
        """An event of now by the host that tells of the problem: on disk with the close. A crash
        before loses it; what it led to is in the devices' journals."""
        event = self._event(kind, "host", data)
        if self.holds_back:
            self._later.append(event)
        else:
            await self._keep(event)

    async def tell_all(self) -> None:
        """From here on nothing is held back: the run is about to be closed."""
        self.holds_back = False
        later, self._later = self._later, []
        for event in later:
            await self._keep(event)

    def _event(self, kind: str, source: Source, data: dict[str, Any]) -> Event:
        return Event(
            kind=kind,
            source=source,
            host_epoch=self.host_epoch,
            utc=utc_text(utc_now()),
            run_id=self.run_id,
            host_s=exactly(self._now_s()),
            data={name: value for name, value in data.items() if value is not None},
        )

    def _now_s(self) -> float:
        return asyncio.get_running_loop().time() + self.shift_s

    async def exchanges(self, member: Member, burst: list[Exchange]) -> None:
        """A burst of looks at a device's clock, so that every time can be recomputed."""
        rows = [[e.clock_id, e.sent_s, e.received_s, list(split_us(e.device_us))] for e in burst]
        await self.say("clock_exchange", device=member.name, exchanges=rows)

    async def collect(self, member: Member) -> None:
        """Fetch all that the device's journal holds; acknowledge only what is on disk here."""
        async with member.lock:
            while await self._collect_some(member):
                pass

    async def _collect_some(self, member: Member) -> bool:
        loop = asyncio.get_running_loop()
        client = member.client
        journal_id, last_seq, raws = await client.fetch(member.journal_id, member.acked_seq)
        heard_before_s, member.heard_s = member.heard_s, loop.time()
        if journal_id != member.journal_id:
            member.journal_id, member.acked_seq = journal_id, 0
        assert client.hello is not None
        records = [decode(raw) for raw in raws]
        taken = self._to_take(records, last_seq)
        for record in taken:
            key = (client.hello.device_id, journal_id, record.seq)
            event = event_of(
                record,
                device_id=client.hello.device_id,
                name=member.name,
                journal_id=journal_id,
                clocks=self.past.get(member.name, client.clocks),
                last_heard_s=heard_before_s + self.shift_s,
                now_s=self._now_s(),
                host_epoch=self.host_epoch,
                utc=utc_text(utc_now()),
                run_id=self._run_of(record.run_tag),
            )
            if key not in self._known:
                await self._keep(event)
                self._known.add(key)
        for record in records:
            if record not in taken:
                break  # what is acknowledged must be on disk, and all before it
            member.acked_seq = record.seq
        return len(taken) == len(raws) > 0 and member.acked_seq < last_seq

    def _to_take(self, records: list[JournalRecord], last_seq: int) -> list[JournalRecord]:
        """Those that everybody may know; all where more is to come than was given, which only an
        acknowledgement brings."""
        if self.run_id is None or not self.holds_back or not records:
            return records
        if records[-1].seq != last_seq:
            return records
        return [record for record in records if record.kind not in QUIET]

    def _run_of(self, run_tag: int) -> bytes | None:
        """Records of an earlier run, whose run is closed here, belong to no run any more."""
        if self.run_id is None:
            return None
        own = int.from_bytes(self.run_id[:2], "little")
        return self.run_id if run_tag in (0, own) else None

    async def _keep(self, event: Event) -> None:
        """On disk and told are one step: whoever is cancelled in between leaves neither half."""

        async def keep() -> None:
            number = await self.writer.append(event)
            self._on_event(event.with_id(number))

        task = asyncio.ensure_future(keep())
        try:
            await asyncio.shield(task)
        except asyncio.CancelledError:
            await asyncio.gather(task, return_exceptions=True)
            raise
