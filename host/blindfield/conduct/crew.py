"""The devices of a field that answer, under the names that the field gives them."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from blindfield.links.channel import Channel, Medium
from blindfield.links.client import DeviceClient
from blindfield.links.clock import Looks
from blindfield.links.link import DeviceLink
from blindfield.model.errors import BlindfieldError, LinkError
from blindfield.model.field import Field, Target
from fieldcore.instant import split_us

CONNECT_S = 4.0


@dataclass
class Member:
    """One device that answered. `acked_seq`: journal records up to there are on disk here."""

    name: str
    client: DeviceClient
    link: DeviceLink
    is_target: bool
    acked_seq: int = 0
    journal_id: int = 0
    heard_s: float = 0.0
    looks: Looks = field(init=False)
    silence_count: int = 0
    revision: int = 0
    away_since_s: float | None = None
    lock: asyncio.Lock = field(default_factory=asyncio.Lock)

    def __post_init__(self) -> None:
        self.look_anew()

    @property
    def by_radio(self) -> bool:
        return bool(getattr(self.client.channel, "is_radio", False))

    def look_anew(self) -> None:
        """Begin the plan of looks at its clock again: it is a new clock."""
        self.looks = Looks(close_early=not self.by_radio)

    def instant(self, host_s: float) -> tuple[int, int, int]:
        """(lap, ms, us) of the device's clock at a host time. LookupError before any look."""
        return split_us(self.client.clock.to_device(host_s))

    async def ask(self, message: str, *fields: object) -> dict[str, Any]:
        """`DeviceClient.request`, noting when the device was last heard."""
        reply: dict[str, Any] = await self.client.request(message, *fields)
        self.heard_s = asyncio.get_running_loop().time()
        return reply


@dataclass
class Crew:
    """`members` by name; `strangers`: devices that answer but are not in the field's file;
    `twins`: names under which more than one device answers, so that nobody knows which lies where;
    `troubles`: sentences about ports that did not give a device."""

    members: dict[str, Member] = field(default_factory=dict)
    twins: set[str] = field(default_factory=set)
    strangers: list[DeviceClient] = field(default_factory=list)
    troubles: list[BlindfieldError] = field(default_factory=list)

    @property
    def targets(self) -> list[Member]:
        return [member for member in self.members.values() if member.is_target]

    @property
    def post(self) -> Member | None:
        return next((m for m in self.members.values() if not m.is_target), None)

    def absent(self, place: Field) -> list[Target]:
        """Targets of the field's file that did not answer."""
        return [target for target in place.targets if target.name not in self.members]

    async def each(
        self, members: Iterable[Member], act: Callable[[Member], Awaitable[Any]]
    ) -> dict[str, Any]:
        """`act` on all at once; name -> result, or the BlindfieldError that it raised."""
        crew = list(members)
        results = await asyncio.gather(*(act(m) for m in crew), return_exceptions=True)
        for result in results:
            if isinstance(result, BaseException) and not isinstance(result, BlindfieldError):
                raise result
        return {member.name: result for member, result in zip(crew, results, strict=True)}

    async def close(self) -> None:
        await asyncio.gather(
            *(member.link.close() for member in self.members.values()),
            *(client.channel.close() for client in self.strangers),
        )


async def muster(place: Field, media: Sequence[Medium], key: bytes) -> Crew:
    """Call every device that the media know, all at once, and match them with the field."""
    crew = Crew()
    channels: list[Channel] = []
    for medium in media:
        try:
            channels += await medium.discover()
        except LinkError as error:
            crew.troubles.append(error)
    answers = await asyncio.gather(
        *(_call(channel, key) for channel in channels), return_exceptions=True
    )
    for answer in answers:
        if isinstance(answer, BlindfieldError):
            crew.troubles.append(answer)
        elif isinstance(answer, BaseException):
            raise answer
        else:
            await _enlist(crew, place, answer)
    return crew


async def _call(channel: Channel, key: bytes) -> DeviceClient:
    client = DeviceClient(channel, key)
    await channel.open()
    try:
        async with asyncio.timeout(CONNECT_S):
            await client.connect()
    except TimeoutError:
        await channel.close()
        raise LinkError(
            "does not answer.",
            device=channel.name,
            remedy="Is it a Blindfield device, switched on, with this field's key?",
        ) from None
    except BlindfieldError:
        await channel.close()
        raise
    return client


async def _enlist(crew: Crew, place: Field, client: DeviceClient) -> None:
    hello = client.hello
    assert hello is not None
    known = place.by_device_id(hello.device_id)
    if known is None:
        crew.strangers.append(client)
        return
    if known.name in crew.members:
        await client.channel.close()
        crew.twins.add(known.name)
        first = crew.members[known.name].client.channel.name
        crew.troubles.append(
            LinkError(
                f"two devices answer as {known.name}: on {first} and on {client.channel.name}.",
                remedy="Switch one of them off: no run begins while nobody knows which is buried.",
            )
        )
        return
    client.name = known.name
    crew.members[known.name] = Member(
        known.name,
        client,
        DeviceLink(client),
        isinstance(known, Target),
        heard_s=asyncio.get_running_loop().time(),
    )
