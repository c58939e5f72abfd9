"""Loads every target alive, and starts them all or none."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

from blindfield.conduct.crew import Member
from blindfield.conduct.sheets import sheet_of
from blindfield.conduct.state import HORN_CANNOT_START, HORN_START, RunState
from blindfield.links.channel import Medium
from blindfield.links.virtual_time import utc_now
from blindfield.model.errors import BlindfieldError, NotReady, Refused
from blindfield.model.events import utc_text
from blindfield.model.messages import SHEET_BYTES
from blindfield.model.scenario import Cue, Part, Scenario
from fieldcore import sheet as core
from fieldcore import wire

if TYPE_CHECKING:
    from blindfield.conduct.conductor import Conductor

SLOT, OTHER_SLOT = 0, 1
PART_BYTES = SHEET_BYTES // 2
START_LEAD_S = 3.0  # on a wire
CONFIRM_BEFORE_S = 1.0
RESTART_LEADS_S = (0.5, 1.5, 5.0)


async def load_all(conductor: Conductor, scenario: Scenario) -> None:
    """Every target alive gets a sheet of the same size, in play or not; digests are read back.

    Raises NotReady without saying whether the device that failed was in play.
    """

    async def load(member: Member) -> None:
        part = scenario.part(member.name)
        if part is not None:
            member.revision = 1
            await load_one(conductor, member, part, SLOT, 0.0)

    results = await conductor.crew.each(conductor.crew.targets, load)
    failed = {name: r for name, r in results.items() if isinstance(r, BlindfieldError)}
    for name, error in failed.items():
        await conductor.recorder.say("load_failed", device=name, slot=SLOT, reason=str(error))
    if failed:
        name, error = next(iter(failed.items()))
        raise NotReady(f"could not be prepared: {error}", device=name, remedy=error.remedy)


async def load_one(
    conductor: Conductor, member: Member, part: Part, slot: int, origin_s: float
) -> None:
    """Load one sheet, commit it and read its digest back. Raises Refused, LinkLost, NotReady."""
    scenario = conductor.state.scenario
    assert scenario is not None
    data = sheet_of(
        scenario,
        part,
        run_id=conductor.state.run_id,
        revision=member.revision,
        rate=member.client.clock.rate,
        lease_s=conductor.place.lease_s,
        origin_s=origin_s,
    )
    for offset in range(0, SHEET_BYTES, PART_BYTES):
        await member.ask("load", slot, offset, data[offset : offset + PART_BYTES])
    digest = core.digest(data)
    reply = await member.ask("commit", slot, digest, member.silence_count)
    if reply["digest"] != digest:
        raise NotReady("holds a damaged sheet.", device=member.name, remedy="Try again.")
    await conductor.recorder.say(
        "loaded", device=member.name, slot=slot, revision=member.revision, digest=digest.hex()
    )


def lead_s(media: Iterable[Medium]) -> float:
    """How far ahead a start is set: what the slowest of the media wants."""
    return max((getattr(m, "start_lead_s", START_LEAD_S) for m in media), default=START_LEAD_S)


async def start_all(conductor: Conductor, lead_s: float) -> None:
    """A start instant ahead on every clock; a second before it all must have taken it.

    Raises NotReady after cancelling everywhere.
    """
    loop = asyncio.get_running_loop()
    start_s = loop.time() + lead_s

    async def start(member: Member) -> None:
        await member.ask("start", SLOT, *member.instant(start_s), 0, member.silence_count)

    async def start_in_time(member: Member) -> None:
        try:
            async with asyncio.timeout(lead_s - CONFIRM_BEFORE_S):
                await start(member)
        except TimeoutError:
            raise NotReady("did not take the start in time.", device=member.name) from None

    results = await conductor.crew.each(conductor.crew.targets, start_in_time)
    missing = [name for name, result in results.items() if result is not None]
    refused = bool(missing) or conductor.state.phase != "drawn"
    if refused:
        await cancel_all(conductor)  # before the record, which may take its time
    await _record_starts(conductor, results, start_s)
    if refused:
        why = next((str(r) for r in results.values() if r is not None), "the field was silenced.")
        raise NotReady(
            f"cannot start: {why}", remedy="Everything was cancelled; nothing will send. Try again."
        )
    utc = utc_text(utc_now() + timedelta(seconds=start_s - loop.time()))
    await conductor.started(start_s, utc)
    try:
        await conductor.sound(HORN_START, start_s)
    except BlindfieldError as error:
        conductor.troubles.append(str(error))


async def _record_starts(conductor: Conductor, results: dict[str, object], start_s: float) -> None:
    for name, result in results.items():
        member = conductor.crew.members[name]
        await conductor.recorder.say(
            "start_sent",
            device=name,
            slot=SLOT,
            start_host_s=[start_s, start_s, start_s],
            start_device=list(member.instant(start_s)),
            clock_id=member.client.clock.clock_id,
            acknowledged=result is None,
        )


async def cancel_all(conductor: Conductor) -> None:
    """Take the start back from every device."""

    async def cancel(member: Member) -> None:
        await member.ask("cancel", SLOT)

    await conductor.crew.each(conductor.crew.targets, cancel)
    try:
        await conductor.sound(HORN_CANNOT_START)
    except (BlindfieldError, LookupError) as error:
        conductor.troubles.append(str(error))


async def reload(conductor: Conductor, member: Member) -> None:
    """Give a target that restarted mid-run its next revision, from the present run time on."""
    state = conductor.state
    if state.scenario is None or state.start_s is None or state.start_s.best is None:
        return
    part = state.scenario.part(member.name)
    if part is None:
        return
    status = await member.client.status()
    if status["silence_count"] != member.silence_count or status["latched"]:
        return  # silenced in the meantime: nothing revives it within a run
    for lead_s in RESTART_LEADS_S:
        if await _join(conductor, member, carried_on(part, state), lead_s):
            break
    else:
        raise NotReady("came back too slowly to join the run again.", device=member.name)
    await conductor.recorder.say(
        "sheet_reloaded",
        device=member.name,
        slot=OTHER_SLOT,
        revision=member.revision,
        reason="it had restarted",
    )


async def _join(conductor: Conductor, member: Member, part: Part, lead_s: float) -> bool:
    """Load the next revision and start it `lead_s` ahead; False when that was too short."""
    start_s = conductor.state.start_s
    assert start_s is not None
    assert start_s.best is not None
    member.revision += 1
    at_s = asyncio.get_running_loop().time() + lead_s
    origin_s = at_s - start_s.best
    await load_one(conductor, member, part, OTHER_SLOT, origin_s)
    origin_ms = round(origin_s * 1000)
    try:
        await member.ask(
            "start", OTHER_SLOT, *member.instant(at_s), origin_ms, member.silence_count
        )
    except Refused as refusal:
        if refusal.code == wire.NO_PAST:
            return False
        raise
    return True


def carried_on(part: Part, state: RunState) -> Part:
    """The part as it stands: words said and strikes felt have become run times."""
    view = state.view(part.name)
    struck = view.struck.best if view and view.struck else None
    dug_out = view.dug_out.best if view and view.dug_out else None

    def resolved(cue: Cue) -> Cue:
        if cue.trigger == "on_word" and cue.word in state.said:
            return replace(cue, trigger="at", time_s=0.0, word=0)
        for trigger, found in (("on_my_strike", struck), ("on_my_dug_out", dug_out)):
            if cue.trigger == trigger and found is not None and cue.time_s is not None:
                return replace(cue, trigger="at", time_s=found + cue.time_s)
        return cue

    return replace(part, cues=tuple(resolved(cue) for cue in part.cues))
