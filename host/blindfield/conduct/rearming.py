"""Lifts the latch of silence: asked for by a person who says that all are safe."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping

from blindfield.conduct.crew import Crew, Member
from blindfield.model.errors import BlindfieldError, NotReady
from blindfield.model.field import Field

ECHO_S = 1.0  # for so long a silence is repeated from device to device over the air


async def latches(crew: Crew) -> dict[str, int]:
    """Name -> silence count of every device that is silenced now."""

    async def ask(member: Member) -> int | None:
        status = await member.client.status()
        return status["silence_count"] if status["latched"] else None

    counts = await crew.each(crew.members.values(), ask)
    return {name: count for name, count in counts.items() if isinstance(count, int)}


async def rearm_all(
    place: Field, crew: Crew, counts: Mapping[str, int] | None = None
) -> dict[str, str]:
    """Name -> "" when the device may send again, else what is wrong; absent ones are named too.

    With `counts` (name -> silence count) only the silence counted so is lifted: a device that was
    silenced again since, by anybody, refuses and stays silent.
    """

    async def rearm(member: Member) -> None:
        status = await member.client.status()
        if not status["latched"]:
            return
        count = status["silence_count"] if counts is None else counts.get(member.name)
        if count is None:
            raise NotReady("stays silent.", device=member.name, remedy="Use `blindfield rearm`.")
        await member.ask("rearm", count)

    results = await crew.each(crew.members.values(), rearm)
    texts = {n: str(r) if isinstance(r, BlindfieldError) else "" for n, r in results.items()}
    absent = {target.name: "does not answer" for target in crew.absent(place)}
    return {**texts, **absent}


async def rearm_to_stay(place: Field, crew: Crew) -> dict[str, str]:
    """`rearm_all`, then a look whether it stays so. Nobody can tell an echo of the silence just
    lifted from somebody who asks for silence again: a device silenced since is named."""
    texts = await rearm_all(place, crew)
    await asyncio.sleep(ECHO_S)
    again = await latches(crew)
    return {
        name: text
        or ("silenced again meanwhile; when all are safe: again" if name in again else "")
        for name, text in texts.items()
    }
