"""Lifts the latch of silence: asked for by a person who says that all are safe."""

from __future__ import annotations

from blindfield.conduct.crew import Crew, Member
from blindfield.model.errors import BlindfieldError
from blindfield.model.field import Field


async def rearm_all(place: Field, crew: Crew) -> dict[str, str]:
    """Name -> "" when the device may send again, else what is wrong; absent ones are named too."""

    async def rearm(member: Member) -> None:
        status = await member.client.status()
        if status["latched"]:
            await member.ask("rearm", status["silence_count"])

    results = await crew.each(crew.members.values(), rearm)
    texts = {n: str(r) if isinstance(r, BlindfieldError) else "" for n, r in results.items()}
    absent = {target.name: "does not answer" for target in crew.absent(place)}
    return {**texts, **absent}
