"""Conducts one run: load, start in two phases, follow, close, confirm silence.

The run itself is the reducer in `state`; this driver records events, hands them to it, and
carries out the commands that come back.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from typing import Any

from blindfield.conduct import state as runs
from blindfield.conduct.closing import Doubt, close_run, doubtful_of, end_everywhere, with_absent
from blindfield.conduct.crew import Crew, Member
from blindfield.conduct.loading import lead_s, load_all, reload, start_all
from blindfield.conduct.recorder import Recorder
from blindfield.conduct.uninterrupted import to_the_end
from blindfield.links.channel import Medium
from blindfield.logbook.commitment import drawn_data
from blindfield.logbook.writer import Writer
from blindfield.model.errors import BlindfieldError, LinkError, LogbookError, NotReady
from blindfield.model.event_kinds import Source
from blindfield.model.events import Event
from blindfield.model.field import Field
from blindfield.model.ids import new_run_id
from blindfield.model.run_summary import RunSummary
from blindfield.model.scenario import Scenario
from blindfield.model.span import exactly

POLL_S = 2.0  # every device alike, in play or not
LAST_WORDS_S = 0.5
GRACE_S = 5.0  # after the end of every sheet, for ends that are still on their way


class Conductor:
    """One run on one crew. `state` may be read at any time; `on_change` is called when it moved.

    `troubles`: sentences for the person at the screen. After the end `silent` tells for each
    target its silence count, or the error that kept it from confirming, `doubtful` has place
    and last instant of each that may still send, and `summary` is what was kept.
    """

    def __init__(self, place: Field, crew: Crew, media: list[Medium], writer: Writer) -> None:
        self.place = place
        self.crew = crew
        self.media = media
        self.state = runs.RunState()
        self.on_change: Callable[[Event], None] = _unheard
        self.recorder = Recorder(writer, self._take)
        self.troubles: list[str] = []
        self.end_reason = ""
        self.silence_asked = False
        self.silent: dict[str, int | BlindfieldError] = {}
        self.doubtful: dict[str, Doubt] = {}
        self.summary: RunSummary | None = None
        self.shown_to_all = False  # a spectator's screen tells what nobody else may know
        self._commands: asyncio.Queue[runs.Command] = asyncio.Queue()
        self._tasks: set[asyncio.Task[None]] = set()
        self._over = asyncio.Event()
        self._failure: LogbookError | None = None

    # Before

    async def prepare(self) -> None:
        """Clocks looked at, old records collected, silence counts learned: all devices alike."""
        results = await self.crew.each(self.crew.members.values(), self._prepare_one)
        errors = [result for result in results.values() if isinstance(result, BlindfieldError)]
        if errors:
            raise errors[0]

    async def _prepare_one(self, member: Member) -> None:
        status = await member.client.status()
        member.silence_count = status["silence_count"]
        if status["latched"]:
            raise NotReady(
                "was silenced.",
                device=member.name,
                remedy="When all are safe: `blindfield rearm`.",
            )
        if status["state"]:
            await member.ask("end", status["slot"])
        await self.look(member, full=True)
        await self.recorder.collect(member)
        await member.ask("tidy")

    async def look(self, member: Member, *, full: bool = False) -> None:
        """A burst of looks at one clock, recorded, if one is due."""
        now_s = asyncio.get_running_loop().time()
        burst = member.looks.due(now_s, full=full)
        if burst is not None:
            spacing_s = burst.spacing_s if member.by_radio else 0.0
            learned = await member.client.sync(burst.count, spacing_s)
            await self.recorder.exchanges(member, learned)
            member.looks.made(now_s)

    # The run

    async def run(self, scenario: Scenario) -> RunSummary:
        """The whole run; its summary once it is closed and kept.

        Raises NotReady or LinkError when it could not start: then it is closed as interrupted.
        Cancelled (Ctrl-C): everything is silenced and the run kept as stopped before the
        cancellation goes on.
        """
        self.recorder.run_id = new_run_id()
        self.recorder.holds_back = not self.shown_to_all
        data = drawn_data(scenario.to_json(), field_name=self.place.name, seed=scenario.seed)
        try:
            await self.recorder.say("run_drawn", **data)
            await load_all(self, scenario)
            await start_all(self, lead_s(self.media))
            await self._follow(scenario)
        except asyncio.CancelledError:
            await self._finish("stop", "person", by="searcher", means="keyboard")
            raise
        except Exception as error:
            kind = "note" if self.state.started else "start_cancelled"
            word = "text" if self.state.started else "reason"
            await self._give_up(kind, word, str(error))
            raise
        return await self._finish()

    async def _give_up(self, kind: str, word: str, text: str) -> None:
        """Silent first, whatever else fails; then kept, as far as the logbook takes it (else the
        next start finds the open run)."""
        try:
            await self._finish(kind, "host", **{word: text})
        except BlindfieldError as error:
            self.troubles.append(str(error))

    async def _finish(
        self, kind: str | None = None, source: Source = "host", **data: Any
    ) -> RunSummary:
        """End everywhere, then record and close; to the end, even while Ctrl-C is pressed."""

        async def finish() -> RunSummary:
            self.silent = with_absent(self, await end_everywhere(self))
            self.doubtful = doubtful_of(self)  # known even when the logbook takes nothing more
            if kind:
                await self.recorder.say(kind, source, **data)
            self.summary = await close_run(self)
            return self.summary

        return await to_the_end(finish())

    async def _follow(self, scenario: Scenario) -> None:
        workers = [self._obey(), self._limit(scenario), *map(self._watch, self._members())]
        tasks = [asyncio.create_task(worker) for worker in workers]
        over: asyncio.Task[Any] = asyncio.create_task(self._over.wait())
        try:
            await asyncio.wait([over, *tasks], return_when=asyncio.FIRST_COMPLETED)
            while not over.done():
                failed = [t for t in tasks if t.done() and t.exception()]
                for task in failed:
                    task.result()
                pending = [t for t in tasks if not t.done()]
                await asyncio.wait([over, *pending], return_when=asyncio.FIRST_COMPLETED)
        finally:
            if self._tasks:  # let what was begun be said; a task never begun would be lost
                await asyncio.wait(self._tasks, timeout=LAST_WORDS_S)
            for task in (over, *tasks, *self._tasks):
                task.cancel()
            await asyncio.gather(over, *tasks, *self._tasks, return_exceptions=True)
        if self._failure is not None:
            raise self._failure

    def _members(self) -> list[Member]:
        return list(self.crew.members.values())

    async def _limit(self, scenario: Scenario) -> None:
        start_s = self.state.start_s
        assert start_s is not None
        assert start_s.best is not None
        left_s = start_s.best + scenario.time_limit_s - asyncio.get_running_loop().time()
        await asyncio.sleep(max(0.0, left_s))
        await self._look_at_all()  # finds of the last seconds are in before the verdict
        await self.recorder.say(
            "time_limit",
            limit_s=scenario.time_limit_s,
            found=len(self.state.finds),
            met=self.state.met,
        )
        left_s = start_s.best + scenario.end_s + GRACE_S - asyncio.get_running_loop().time()
        await asyncio.sleep(max(0.0, left_s))
        # Every sheet is over, also of those whose end was not heard.
        self._commands.put_nowait(runs.EndRun("no target sends any more"))

    async def _look_at_all(self) -> None:
        results = await self.crew.each(self._members(), self.recorder.collect)
        for result in results.values():
            if isinstance(result, LogbookError):
                raise result

    async def _watch(self, member: Member) -> None:
        """Keep one device's link up, and fetch what it has: at a hint, and every POLL_S."""
        hint = asyncio.Event()
        member.client.on_data = hint.set
        member.client.on_restart = lambda: self._spawn(self._restarted(member))
        member.link.on_up = lambda *_: self._came_up(member)
        member.link.on_lost = lambda reason: self._went_down(member, reason)
        upkeep = asyncio.create_task(member.link.run())
        try:
            while True:
                try:
                    async with asyncio.timeout(POLL_S):
                        await hint.wait()
                except TimeoutError:
                    pass
                hint.clear()
                await self._visit(member)
        finally:
            member.client.on_data = member.client.on_restart = lambda: None
            member.link.on_up, member.link.on_lost = lambda *_: None, lambda _: None
            upkeep.cancel()
            await asyncio.gather(upkeep, return_exceptions=True)

    async def _visit(self, member: Member) -> None:
        try:
            await self.look(member)
            await self.recorder.collect(member)
        except LinkError:
            pass  # the link's own machine brings it back and tells
        except LogbookError:
            raise  # a run that cannot be kept ends
        except BlindfieldError as error:
            self.troubles.append(str(error))

    def _came_up(self, member: Member) -> None:
        if member.away_since_s is not None:
            away_s = asyncio.get_running_loop().time() - member.away_since_s
            member.away_since_s = None
            self._spawn(self.recorder.say("link_back", device=member.name, away_s=away_s))

    async def _restarted(self, member: Member) -> None:
        clock_id = member.client.hello.clock_id if member.client.hello else 0
        member.look_anew()
        await self.look(member)
        await self.recorder.say("device_rebooted", device=member.name, new_clock_id=clock_id)

    def _went_down(self, member: Member, reason: str) -> None:
        member.away_since_s = asyncio.get_running_loop().time()
        self._spawn(self.recorder.say("link_lost", device=member.name, reason=reason))

    def _spawn(self, work: Coroutine[Any, Any, None]) -> None:
        async def guarded() -> None:
            try:
                await work
            except LinkError:
                pass  # its own machine tells
            except LogbookError as error:
                self._fail(error)
            except BlindfieldError as error:
                self.troubles.append(str(error))

        task = asyncio.create_task(guarded())
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    # The reducer's commands

    def _take(self, event: Event) -> None:
        if event.run_id is None or event.run_id != self.recorder.run_id:
            return
        self.state, commands = runs.reduce(self.state, event)
        for command in commands:
            self._commands.put_nowait(command)
        self.on_change(event)

    async def _obey(self) -> None:
        while True:
            command = await self._commands.get()
            try:
                await self._carry_out(command)
            except LinkError as error:
                self.troubles.append(str(error))

    async def _carry_out(self, command: runs.Command) -> None:
        match command:
            case runs.SayWord():
                self._spawn(self._say_word(command))
            case runs.Sound(pattern):
                self._spawn(self.sound(pattern))
            case runs.Reload(name):
                self._spawn(self._reload(name))
            case runs.SilenceAll():
                for medium in self.media:
                    await medium.silence_all()
            case runs.EndRun(reason):
                self.end_reason = self.end_reason or reason
                self._over.set()

    async def _say_word(self, said: runs.SayWord) -> None:
        """Said to every target alike; only those that wait for it act on it."""

        async def say(member: Member) -> None:
            await member.ask("word", self.state.run_id, said.word, member.silence_count)

        results = await self.crew.each(self.crew.targets, say)
        for name in said.targets:
            acknowledged = name in results and results[name] is None
            await self.recorder.say_later(
                "word_sent",
                device=name,
                word=said.word,
                acknowledged=acknowledged,
                cause=said.cause,
            )

    async def _reload(self, name: str) -> None:
        member = self.crew.members.get(name)
        if member is not None and member.is_target:
            await reload(self, member)

    async def sound(self, pattern: int, host_s: float | None = None) -> None:
        """The post's horn, now or at a host time; without a post nothing happens."""
        post = self.crew.post
        if post is None:
            return
        now_s = asyncio.get_running_loop().time()
        await post.ask("sound", pattern, *post.instant(now_s if host_s is None else host_s))

    async def silence(self, cause: str) -> None:
        """Everything silent now, by whoever asks; a run that is open ends as interrupted."""
        self.silence_asked = True
        for medium in self.media:
            await medium.silence_all()
        try:
            await self.recorder.say("silence_sent", cause=cause)
        except LogbookError as error:
            if self.recorder.run_id is not None:
                self._fail(error)

    def _fail(self, error: LogbookError) -> None:
        """The record can no longer be kept: the run ends, silent, with this error."""
        self._failure = self._failure or error
        self._over.set()

    async def started(self, start_s: float, utc: str) -> None:
        """Every device took the start: the run's clock begins."""
        span = exactly(start_s)
        await self.recorder.say(
            "started_all", start_host_s=[span.low, span.best, span.high], start_utc=utc
        )


def _unheard(event: Event) -> None: ...
