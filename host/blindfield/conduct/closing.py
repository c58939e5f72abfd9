"""Closes a run: every carrier confirmed silent or named, the last records fetched, the run kept."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from blindfield.conduct.crew import Member
from blindfield.conduct.loading import OTHER_SLOT, SLOT
from blindfield.conduct.state import outcome_of, summary_of
from blindfield.links.virtual_time import utc_now
from blindfield.model.errors import BlindfieldError, LinkError, LinkLost
from blindfield.model.events import utc_text
from blindfield.model.run_summary import RunSummary

if TYPE_CHECKING:
    from blindfield.conduct.conductor import Conductor

CONFIRM_S = 5.0


async def close_run(conductor: Conductor) -> RunSummary:
    """Record who is silent, collect, and keep the run; its summary. After `end_everywhere`."""
    await _record_silence(conductor)
    await conductor.crew.each(conductor.crew.members.values(), _last_records(conductor))
    state = conductor.state
    await conductor.recorder.say(
        "closed",
        outcome=outcome_of(state),
        reason=conductor.end_reason or None,
        found=len(state.finds),
        targets=state.to_find,
        time_limit_s=state.scenario.time_limit_s if state.scenario else None,
        flags=list(state.flags),
    )
    summary = summary_of(conductor.state, ended_utc=utc_text(utc_now()))
    run_id = conductor.recorder.run_id
    assert run_id is not None
    await conductor.recorder.writer.close_run(run_id, summary)
    conductor.recorder.run_id = None
    return summary


def _last_records(conductor: Conductor):  # type: ignore[no-untyped-def]
    async def collect(member: Member) -> None:
        try:
            async with asyncio.timeout(CONFIRM_S):
                await conductor.recorder.collect(member)
        except TimeoutError:
            raise LinkLost("did not send its last records.", device=member.name) from None

    return collect


async def end_everywhere(conductor: Conductor) -> dict[str, int | BlindfieldError]:
    """End the run on every target: name -> its silence count, or why it may still send.

    Needs no logbook, so that a full disk keeps nobody from falling silent.
    """

    async def end(member: Member) -> int:
        async with asyncio.timeout(CONFIRM_S):
            while True:
                try:
                    return await _end_one(member)
                except LinkError:
                    await asyncio.sleep(0.2)

    async def end_in_time(member: Member) -> int:
        try:
            return await end(member)
        except TimeoutError:
            raise LinkLost("cannot be reached.", device=member.name) from None

    return await conductor.crew.each(conductor.crew.targets, end_in_time)


async def _record_silence(conductor: Conductor) -> None:
    for name, result in conductor.silent.items():
        if isinstance(result, BlindfieldError):
            await _name_unconfirmed(conductor, conductor.crew.members[name], result)
        else:
            await conductor.recorder.say("silent_confirmed", device=name, count=result)


async def _end_one(member: Member) -> int:
    for slot in (SLOT, OTHER_SLOT):
        await member.ask("end", slot)
    status = await member.ask("status")
    if status["state"]:
        raise LinkLost("still says that it may send.", device=member.name)
    for slot in (SLOT, OTHER_SLOT):
        await member.ask("clear", slot)
    count: int = status["silence_count"]
    return count


async def _name_unconfirmed(conductor: Conductor, member: Member, error: BlindfieldError) -> None:
    """The last instant at which it can still send: the sheet's end, or its lease."""
    state, place = conductor.state, conductor.place
    scenario, start_s = state.scenario, state.start_s
    if scenario is None or start_s is None:
        until_s = asyncio.get_running_loop().time()
    else:
        until_s = start_s.high + scenario.end_s
        if place.lease_s is not None:
            until_s = min(until_s, member.heard_s + place.lease_s)
    where = place.target_named(member.name)
    await conductor.recorder.say(
        "not_confirmed_silent",
        device=member.name,
        place=f"{where.x_m:g} m, {where.y_m:g} m",
        until_host_s=until_s,
        reason=str(error),
    )
