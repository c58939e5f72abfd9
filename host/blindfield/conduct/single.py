"""One target sends at a time, outside any run: to bring targets home, to test a range.

Nothing is drawn and nothing is blind here, but the rules of sending hold: it carries the silence
count that was last seen, at most 20 min, and whoever may still send is silent, or can send no
more, before another one begins.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Coroutine
from contextlib import asynccontextmanager
from dataclasses import dataclass, replace
from typing import Any, Literal

from blindfield.conduct.alone import alone
from blindfield.conduct.closing import doubtful_of, end_in_time, last_instant_s
from blindfield.conduct.conductor import Conductor
from blindfield.conduct.crew import Crew, Member
from blindfield.conduct.loading import RESTART_LEADS_S, SLOT, load_one
from blindfield.conduct.state import RunState
from blindfield.conduct.uninterrupted import to_the_end
from blindfield.links.channel import Medium
from blindfield.logbook.writer import Writer
from blindfield.model.errors import (
    LinkError,
    LogbookError,
    NotConfirmedSilent,
    NotReady,
    ProtocolError,
    Refused,
)
from blindfield.model.events import Event
from blindfield.model.field import Field, Target
from blindfield.model.ids import new_run_id
from blindfield.model.scenario import Part
from blindfield.model.span import exactly
from fieldcore import wire

RUNNING = 2
"""`state` of status_is."""

CLOCK_DOUBT_S = 0.5
"""Two crystals may part so far in 20 min, at a few hundred ppm: no restart makes these longer."""

_SILENCED = (wire.NO_LATCHED, wire.NO_SILENCE_COUNT)
_ENDED_BY = {"sheet": "after its 20 min", "cap": "after its 20 min", "lease": "out of reach"}

Happening = Literal["typed", "dug_out", "ended", "lost", "back", "restarted", "wake"]


@dataclass(frozen=True)
class News:
    """Something that happened to the target `name`, or `text` that a person typed."""

    what: Happening
    name: str = ""
    text: str = ""


class Single(Conductor):
    """A conductor without a run.

    `sender`: the only target that may send now, empty when none may. After `finish` `doubtful`
    has a sentence for it when it did not confirm that it is silent.
    """

    def __init__(self, place: Field, crew: Crew, media: list[Medium], writer: Writer) -> None:
        super().__init__(place, crew, media, writer)
        self.sender = ""
        self._news: asyncio.Queue[News] = asyncio.Queue()
        self._silenced_by = ""
        self._watching = False
        self._rests = False  # dug out, and said that it rests: nothing in its sheet wakes it again

    @property
    def silenced(self) -> bool:
        return bool(self._silenced_by)

    async def ready(self) -> None:
        """All that answer are idle and their clocks known; whoever does not get so far is left
        out, with a sentence in `troubles`. Raises NotReady when one of them was silenced."""
        for name in sorted(self.crew.twins):
            raise NotReady(f"two devices answer as {name}.", remedy="Switch one of them off.")
        while True:
            try:
                return await self.prepare()
            except (LinkError, ProtocolError) as error:
                member = self.crew.members.pop(error.device or "", None)
                if member is None:
                    raise
                self.troubles.append(str(error))
                await member.link.close()

    async def batteries_v(self) -> dict[str, float]:
        """What each target that answers says of its battery, volts."""

        async def ask(member: Member) -> float:
            return float((await member.client.status())["battery_mv"]) / 1000

        said = await self.crew.each(self.crew.targets, ask)
        return {name: volts for name, volts in said.items() if isinstance(volts, float)}

    @asynccontextmanager
    async def watched(self) -> AsyncIterator[None]:
        """While it lasts every link is kept up, and what the devices notice comes to `heard`."""
        self._watching = True
        watches = [asyncio.create_task(self._guarded(self._watch(m))) for m in self._members()]
        try:
            yield
        finally:
            self._watching = False
            for task in (*watches, *self._tasks):
                task.cancel()
            await asyncio.gather(*watches, *self._tasks, return_exceptions=True)

    async def _guarded(self, work: Coroutine[Any, Any, None]) -> None:
        try:
            await work
        except LogbookError as error:
            self._fail(error)

    # What is heard

    async def heard(self) -> News:
        """The next news. Raises NotReady once the field was silenced, by whomever, and the
        LogbookError that keeps us from recording."""
        news = await self._news.get() if not self._broken() else News("wake")
        if self._failure is not None:
            raise self._failure
        if self._silenced_by:
            raise NotReady(
                f"the field was silenced ({self._silenced_by}): nothing sends any more.",
                remedy="When all are safe: `blindfield rearm`, and then the same command again.",
            )
        return news

    def type(self, line: str) -> None:
        """A line that a person typed."""
        self._news.put_nowait(News("typed", text=line.strip()))

    def _broken(self) -> bool:
        return self._failure is not None or self.silenced

    def _take(self, event: Event) -> None:
        """Every event is told here once it is on disk; those of before the watch say nothing."""
        if not self._watching:
            return
        name, mine = event.data.get("device", ""), event.data.get("device", "") == self.sender
        if event.kind == "silenced":
            self._silent_by(f"{name}: {event.data.get('cause', 'by somebody')}")
        elif event.kind == "dug_out":
            self._news.put_nowait(News("dug_out", name))
        elif mine and event.kind == "rests" and self._of_this_sending(event):
            self._rests = True
        elif (
            mine
            and event.kind == "ended"
            and self._of_this_sending(event)
            and event.data.get("cause") in _ENDED_BY
        ):
            self._news.put_nowait(News("ended", name, _ENDED_BY[event.data["cause"]]))
        elif mine and event.kind in _OF_THE_LINK:
            self._news.put_nowait(News(_OF_THE_LINK[event.kind], name))

    def _of_this_sending(self, event: Event) -> bool:
        """A record fetched late, of the time before, says nothing of what the target does now."""
        tag = event.data.get("run_tag")
        return tag is None or tag == int.from_bytes(self.state.run_id[:2], "little")

    def _silent_by(self, whom: str) -> None:
        self._silenced_by = self._silenced_by or whom
        self._news.put_nowait(News("wake"))

    def _fail(self, error: LogbookError) -> None:
        super()._fail(error)
        self._news.put_nowait(News("wake"))

    async def silence(self, cause: str) -> None:
        self._silent_by(cause)
        await super().silence(cause)

    # What sends

    async def send(self, target: Target) -> None:
        """Let this one send for up to 20 min, until it is dug out; the one before falls silent.

        Raises NotConfirmedSilent when that one may still send, NotReady, Refused, LinkError.
        """
        if not await self.hush():
            raise NotConfirmedSilent("may still send.", device=self.sender)
        member = self._member(target)
        scenario = alone(self.place, target)
        self.state = RunState(run_id=new_run_id(), scenario=scenario)
        member.revision = 1
        await self.look(member)
        await self._begin(member, scenario.targets[0], elapsed_s=0.0)

    async def send_on(self, target: Target) -> None:
        """Let the sender that restarted send on, for what is left of its 20 min."""
        start_s, scenario = self.state.start_s, self.state.scenario
        assert start_s is not None
        assert start_s.best is not None
        assert scenario is not None
        member = self._member(target)
        member.revision += 1
        await self.look(member)
        elapsed_s = asyncio.get_running_loop().time() - start_s.best + CLOCK_DOUBT_S
        if elapsed_s + RESTART_LEADS_S[-1] >= scenario.end_s:
            raise NotReady("has sent for 20 min.", device=target.name)
        await self._begin(member, scenario.targets[0], elapsed_s)

    def _member(self, target: Target) -> Member:
        member = self.crew.members.get(target.name)
        if member is None:
            raise LinkError("does not answer.", device=target.name)
        return member

    async def _begin(self, member: Member, part: Part, elapsed_s: float) -> None:
        """`elapsed_s`: how much of the 20 min is over."""
        try:
            await load_one(self, member, part, SLOT, elapsed_s)
            await self._start(member, elapsed_s)
        except Refused as refusal:
            if refusal.code in _SILENCED:
                self._silent_by(str(refusal))
            raise

    async def _start(self, member: Member, elapsed_s: float) -> None:
        loop = asyncio.get_running_loop()
        for lead_s in RESTART_LEADS_S:
            at_s = loop.time() + lead_s
            # Said before it is asked: a start may be taken though no reply comes back.
            self.sender, self._rests = member.name, False
            self.state = replace(self.state, start_s=exactly(at_s - elapsed_s))
            elapsed_ms = round(elapsed_s * 1000)
            try:
                start = (SLOT, *member.instant(at_s), elapsed_ms, member.silence_count)
                await member.ask("start", *start)
                return
            except Refused as refusal:
                self.sender = ""
                if refusal.code != wire.NO_PAST:
                    raise
        raise NotReady("cannot be started: its link is too slow.", device=member.name)

    async def sends_still(self) -> bool:
        """Whether the sender says that it is sending. Raises LinkError when it cannot be asked."""
        member = self.crew.members[self.sender]
        state = (await member.ask("status"))["state"]
        return bool(state == RUNNING and not self._rests)

    # What falls silent

    async def hush(self) -> bool:
        """End the sender; whether nothing sends now: it said so, or it can send no more."""
        if not self.sender:
            return True
        member, until_s = self.crew.members[self.sender], last_instant_s(self)
        try:
            self.silent = {self.sender: await end_in_time(member)}
        except LinkError as error:
            self.silent = {self.sender: error}
            if not self._rests and asyncio.get_running_loop().time() <= until_s:
                return False
        self.sender = ""
        return True

    def switched_off(self) -> None:
        """A person says that the sender has no power any more."""
        self.sender, self.silent = "", {}

    async def field_silent(self) -> dict[str, str]:
        """Name -> "" for each target that says it is silent, else what it does instead."""

        async def ask(member: Member) -> str:
            state = (await member.ask("status"))["state"]
            return "has a sheet and may send." if state else ""

        said = await self.crew.each(self.crew.targets, ask)
        return {name: str(text) for name, text in said.items()}

    async def finish(self) -> None:
        """Silent, whatever ended it, and to the end, even while Ctrl-C is pressed."""
        await to_the_end(self._finish_silent())

    async def _finish_silent(self) -> None:
        hushed = await self.hush()
        if self.silenced or not hushed:
            for medium in self.media:
                await medium.silence_all()
        self.doubtful = {} if hushed else doubtful_of(self)


_OF_THE_LINK: dict[str, Happening] = {
    "link_lost": "lost",
    "link_back": "back",
    "device_rebooted": "restarted",
}
