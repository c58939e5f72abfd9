"""Which targets say that they are silent and latched."""

from __future__ import annotations

from blindfield.conduct.crew import Crew, Member
from blindfield.model.errors import BlindfieldError, LinkLost
from blindfield.model.field import Field


async def proof_of_silence(place: Field, crew: Crew) -> dict[str, list[str]]:
    """Which targets say that they are silent and latched, and which do not say so."""

    async def ask(member: Member) -> None:
        status = await member.client.status()
        if not status["latched"] or status["may_send"]:
            raise LinkLost("is not silent.", device=member.name)

    results = await crew.each(crew.targets, ask)
    silent = [name for name, r in results.items() if not isinstance(r, BlindfieldError)]
    names = [target.name for target in place.targets]
    return {"silent": silent, "not_confirmed": [name for name in names if name not in silent]}
