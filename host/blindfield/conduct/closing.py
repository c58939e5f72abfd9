"""Closes a run: every carrier confirmed silent or named, the last records fetched, the run kept."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from blindfield.conduct.crew import Member
from blindfield.conduct.loading import OTHER_SLOT, SLOT, lead_s
from blindfield.conduct.state import outcome_of, summary_of
from blindfield.links.virtual_time import utc_now
from blindfield.model.errors import BlindfieldError, LinkLost
from blindfield.model.events import utc_text
from blindfield.model.run_summary import RunSummary

if TYPE_CHECKING:
    from blindfield.conduct.conductor import Conductor

CONFIRM_S = 5.0  # or as long as its link takes to give up, when that is longer


async def close_run(conductor: Conductor) -> RunSummary:
    """Record who is silent, collect, and keep the run; its summary. After `end_everywhere`."""
    await conductor.recorder.tell_all()
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
            async with asyncio.timeout(_confirm_s(member)):
                await conductor.recorder.collect(member)
        except TimeoutError:
            raise LinkLost("did not send its last records.", device=member.name) from None

    return collect


async def end_everywhere(conductor: Conductor) -> dict[str, int | BlindfieldError]:
    """End the run on every target: name -> its silence count, or why it may still send.

    Needs no logbook, so that a full disk keeps nobody from falling silent.
    """
    results: dict[str, int | BlindfieldError]
    results = await conductor.crew.each(conductor.crew.targets, end_in_time)
    if any(isinstance(result, BlindfieldError) for result in results.values()):
        for medium in conductor.media:
            await medium.silence_all()
    return results


def _confirm_s(member: Member) -> float:
    return max(CONFIRM_S, member.client.patience.total_s)


async def end_in_time(member: Member) -> int:
    """End what one target does; its silence count. Raises LinkLost when it does not confirm."""
    try:
        async with asyncio.timeout(_confirm_s(member)):
            while True:
                try:
                    return await _end_one(member)
                except BlindfieldError:
                    await asyncio.sleep(0.2)
                    await _reconnect(member)
    except TimeoutError:
        raise LinkLost("cannot be reached.", device=member.name) from None


def with_absent(
    conductor: Conductor, results: dict[str, int | BlindfieldError]
) -> dict[str, int | BlindfieldError]:
    """Also by name those that have a part in the run and did not answer at all."""
    parts = conductor.state.scenario.targets if conductor.state.scenario else ()
    absent = {
        part.name: LinkLost("does not answer.", device=part.name)
        for part in parts
        if part.name not in results
    }
    return {**results, **absent}


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


def last_instant_s(conductor: Conductor) -> float:
    """The last host time at which a target of the run that is out of reach can still send.

    Its sheet's end, counted from the latest start that may have been given; with a lease, a lease
    from now: a device may have heard what was just sent to it though no reply came back.
    """
    state, lease_s = conductor.state, conductor.place.lease_s
    now_s = asyncio.get_running_loop().time() + conductor.recorder.shift_s
    if state.scenario is None:
        return now_s
    start_s = now_s + lead_s(conductor.media) if state.start_s is None else state.start_s.high
    end_s = start_s + state.scenario.end_s
    return end_s if lease_s is None else min(end_s, max(now_s, start_s) + lease_s)


@dataclass(frozen=True)
class Doubt:
    """A target that may still send: its name and place, the last instant (local time), and why."""

    where: str
    until: datetime
    why: str

    def __str__(self) -> str:
        return (
            f"{self.where} is NOT confirmed silent; it can send until {self.until:%H:%M:%S} at "
            f"the latest ({self.why})"
        )


def doubtful_of(conductor: Conductor) -> dict[str, Doubt]:
    """Each target that may still send."""
    return {
        name: Doubt(
            f"{name} at {_place(conductor, name)}",
            _until(conductor).astimezone(),
            result.what.rstrip("."),
        )
        for name, result in conductor.silent.items()
        if isinstance(result, BlindfieldError)
    }


def _place(conductor: Conductor, name: str) -> str:
    where = conductor.place.target_named(name)
    return f"{where.x_m:g} m, {where.y_m:g} m"


def _until(conductor: Conductor) -> datetime:
    now_s = asyncio.get_running_loop().time() + conductor.recorder.shift_s
    return utc_now() + timedelta(seconds=last_instant_s(conductor) - now_s)


async def _name_unconfirmed(conductor: Conductor, name: str, error: BlindfieldError) -> None:
    await conductor.recorder.say(
        "not_confirmed_silent",
        device=name,
        place=_place(conductor, name),
        until_host_s=last_instant_s(conductor),
        until_utc=utc_text(_until(conductor)),
        reason=str(error),
    )
