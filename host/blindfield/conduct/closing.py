"""Closes a run: every carrier confirmed silent or named, the last records fetched, the run kept."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from blindfield.conduct.crew import Member
from blindfield.conduct.loading import OTHER_SLOT, SLOT
from blindfield.conduct.state import outcome_of, summary_of
from blindfield.links.virtual_time import utc_now
from blindfield.model.errors import BlindfieldError, LinkLost
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


def _last_records(conductor: Conductor) -> Callable[[Member], Awaitable[None]]:
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
                except BlindfieldError:
                    await asyncio.sleep(0.2)
                    await _reconnect(member)

    async def end_in_time(member: Member) -> int:
        try:
            return await end(member)
        except TimeoutError:
            raise LinkLost("cannot be reached.", device=member.name) from None

    results = await conductor.crew.each(conductor.crew.targets, end_in_time)
    if any(isinstance(result, BlindfieldError) for result in results.values()):
        for medium in conductor.media:
            await medium.silence_all()
    for part in conductor.state.scenario.targets if conductor.state.scenario else ():
        if part.name not in results:
            results[part.name] = LinkLost("does not answer.", device=part.name)
    return results


async def _reconnect(member: Member) -> None:
    """The machine that keeps links up has ended with the run: a link lost now is ours to mend."""
    try:
        await member.client.connect()
    except BlindfieldError:
        pass  # tried again until the time is over


async def _record_silence(conductor: Conductor) -> None:
    for name, result in conductor.silent.items():
        if isinstance(result, BlindfieldError):
            await _name_unconfirmed(conductor, name, result)
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


def last_instant_s(conductor: Conductor, name: str) -> float:
    """The last host time at which the target can still send: its sheet's end, or its lease."""
    state, place = conductor.state, conductor.place
    now_s = asyncio.get_running_loop().time() + conductor.recorder.shift_s
    if state.scenario is None or state.start_s is None:
        return now_s
    until_s = state.start_s.high + state.scenario.end_s
    member = conductor.crew.members.get(name)
    if place.lease_s is not None and member is not None:
        heard_s = member.heard_s + conductor.recorder.shift_s
        until_s = min(until_s, max(heard_s, state.start_s.high) + place.lease_s)
    return until_s


def doubtful_of(conductor: Conductor) -> dict[str, str]:
    """A sentence with place and last instant for each target that may still send."""
    return {
        name: (
            f"{name} at {_place(conductor, name)} is NOT confirmed silent; it can send until "
            f"{_until(conductor, name).astimezone():%H:%M:%S} at the latest ({result.what})"
        )
        for name, result in conductor.silent.items()
        if isinstance(result, BlindfieldError)
    }


def _place(conductor: Conductor, name: str) -> str:
    where = conductor.place.target_named(name)
    return f"{where.x_m:g} m, {where.y_m:g} m"


def _until(conductor: Conductor, name: str) -> datetime:
    now_s = asyncio.get_running_loop().time() + conductor.recorder.shift_s
    return utc_now() + timedelta(seconds=last_instant_s(conductor, name) - now_s)


async def _name_unconfirmed(conductor: Conductor, name: str, error: BlindfieldError) -> None:
    await conductor.recorder.say(
        "not_confirmed_silent",
        device=name,
        place=_place(conductor, name),
        until_host_s=last_instant_s(conductor, name),
        until_utc=utc_text(_until(conductor, name)),
        reason=str(error),
    )
