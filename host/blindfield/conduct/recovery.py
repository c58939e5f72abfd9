"""Takes up runs that a crash left open: silence first, collect, then close as interrupted."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from datetime import datetime

from blindfield.conduct import state as runs
from blindfield.conduct.closing import close_run, doubtful_of, end_everywhere, with_absent
from blindfield.conduct.conductor import Conductor
from blindfield.conduct.crew import Crew, Member
from blindfield.conduct.recorder import Recorder
from blindfield.links.channel import Medium
from blindfield.links.clock import Clocks, Exchange
from blindfield.links.virtual_time import utc_now
from blindfield.logbook.writer import Writer
from blindfield.model.errors import LogbookError
from blindfield.model.events import Event, utc_text
from blindfield.model.field import Field
from blindfield.model.ids import run_id_text
from blindfield.model.run_summary import RunRecord
from fieldcore.instant import total_us

RUNNING = 2
"""`state` of status_is."""


async def recover(place: Field, crew: Crew, media: Sequence[Medium], writer: Writer) -> list[str]:
    """Close every open run; one sentence for each. Runs whose key is lost are silenced all the
    same and closed without being revealed."""
    records = await writer.call(lambda book: book.open_runs())
    return [await _recover_one(record, place, crew, media, writer) for record in records]


async def end_strays(crew: Crew) -> list[str]:
    """End what runs on a target that was out of reach when its run was closed: nobody conducts
    it any more. One sentence for each."""

    async def end(member: Member) -> bool:
        status = await member.client.status()
        if status["state"] != RUNNING:
            return False
        await member.ask("end", status["slot"])
        return True

    results = await crew.each(crew.targets, end)
    return [
        f"{n} was still in a run that is closed; it was ended."
        for n in results
        if results[n] is True
    ]


async def _recover_one(
    record: RunRecord, place: Field, crew: Crew, media: Sequence[Medium], writer: Writer
) -> str:
    conductor = Conductor(place, crew, list(media), writer)
    conductor.recorder.run_id = record.run_id
    short = run_id_text(record.run_id)[:6]
    reached = await end_everywhere(conductor)  # before anything is read
    try:
        events: list[Event] = await writer.call(lambda book: book.events_of(record.run_id))
        conductor.state = runs.replay(events)
    except (LogbookError, KeyError, TypeError, ValueError) as error:
        for medium in media:
            await medium.silence_all()
        ended = utc_text(utc_now())
        await writer.call(lambda book: book.abandon_run(record.run_id, ended_utc=ended))
        return f"Run {short} was left open and cannot be read ({error}); the field was silenced."
    _acquaint(crew, events)
    before: list[Event] = await writer.call(lambda book: book.events_of(None))
    _speak_in_its_time(conductor.recorder, events, before)
    conductor.silent = with_absent(conductor, reached)
    conductor.doubtful = doubtful_of(conductor)
    await conductor.recorder.say("recovered", action="silenced, collected and closed")
    await close_run(conductor)
    doubt = "".join(f" {sentence}." for sentence in conductor.doubtful.values())
    return f"Run {short} was left open: ended, its events collected, closed as interrupted.{doubt}"


def _acquaint(crew: Crew, events: Sequence[Event]) -> None:
    """Give each member the journal position up to which all is on disk already.

    Not the last one on disk: what only tells of the problem was held back (`recorder.QUIET`), and
    an acknowledgement past it would lose it.
    """
    on_disk: dict[str, tuple[int, set[int]]] = {}  # name -> journal, numbers
    for event in events:
        key, name = event.device_key, event.data.get("device", "")
        if key is None:
            continue
        journal_id, numbers = on_disk.get(name, (0, set()))
        if journal_id != key.journal_id:  # a journal begun anew
            numbers = set()
        on_disk[name] = (key.journal_id, numbers | {key.seq})
    for name, (journal_id, numbers) in on_disk.items():
        member = crew.members.get(name)
        if member is not None:
            seq = min(numbers)
            while seq + 1 in numbers:
                seq += 1
            member.journal_id, member.acked_seq = journal_id, max(member.acked_seq, seq)


def _speak_in_its_time(
    recorder: Recorder, events: Sequence[Event], before: Sequence[Event]
) -> None:
    """The crashed process's loop time, reached by the wall clock, and its looks at the clocks,
    which began before the run was drawn."""
    timed = [event for event in events if event.host_s is not None and event.source != "device"]
    if not timed:
        return
    last = timed[-1]
    assert last.host_s is not None
    away_s = (utc_now() - datetime.fromisoformat(last.utc)).total_seconds()
    recorder.host_epoch = last.host_epoch
    recorder.shift_s = last.host_s.high + away_s - asyncio.get_running_loop().time()
    looks = [
        (sent_s, event.data["device"], Exchange(sent_s, total_us(*stamp), received_s, clock_id))
        for event in (*before, *events)
        if event.kind == "clock_exchange" and event.host_epoch == last.host_epoch
        for clock_id, sent_s, received_s, stamp in event.data["exchanges"]
    ]
    # Two bursts may have been on their way at once (after a restart): a clock wants them in order.
    for _, device, exchange in sorted(looks, key=lambda look: look[0]):
        recorder.past.setdefault(device, Clocks()).add(exchange)
