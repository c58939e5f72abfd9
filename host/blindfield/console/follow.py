"""Shows a run while it goes: what the conductor knows, as the state of the live view."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING

from blindfield.conduct import state as runs
from blindfield.console.live import LiveState, LiveView, Message, Phase, Signal, TargetRow
from blindfield.links.virtual_time import VirtualLoop
from blindfield.model.events import Event
from blindfield.model.scenario import Scenario

if TYPE_CHECKING:
    from blindfield.conduct.conductor import Conductor

REFRESH_S = 0.2  # wall seconds


class Follower:
    """Collects what the screen shows. `spectator`: show everything, for someone who does not
    search; `searcher_xy` is set by whoever knows where the searcher is (the demo)."""

    def __init__(self, conductor: Conductor, scenario: Scenario, *, spectator: bool) -> None:
        self.conductor = conductor
        self.scenario = scenario
        self.spectator = spectator
        self.searcher_xy: tuple[float, float] | None = None
        self.messages: list[Message] = []
        self.speed = 1.0
        self._found = 0
        conductor.on_change = self._on_event
        conductor.shown_to_all = spectator

    def say(self, text: str) -> None:
        """A line of text with the run time."""
        told = self._begun() and self._clock()
        self.messages.append(Message(self._run_s() if told else None, text))

    def _on_event(self, event: Event) -> None:
        state = self.conductor.state
        if event.kind == "started_all":
            self.say("All targets took the start.")
        if event.kind in ("link_lost", "link_back"):
            self._tell_links(event.kind)
        if event.kind == "time_limit" and self._clock():
            self.say("Time limit. Finish the search: signals go on.")
        if len(state.finds) > self._found:
            self._found = len(state.finds)
            name = f": {state.finds[-1][0]}" if self.spectator else ""
            of = "" if self._to_find() is None else f" of {state.to_find}"
            self.say(f"Found {self._found}{of}{name}.")
        if self.spectator:
            self._tell_spectator(event)

    def _tell_links(self, kind: str) -> None:
        """The same whichever device it is: that must not tell who is in play."""
        members = self.conductor.crew.members.values()
        heard = sum(member.away_since_s is None for member in members)
        if heard == 0:
            self.say("NO LINK to any device. The clock runs; silence from here reaches nobody.")
        elif kind == "link_lost":
            self.say("A device is not heard. It may not be in play, and may go on without us.")
        else:
            self.say("A device is heard again.")

    def _tell_spectator(self, event: Event) -> None:
        name = event.data.get("device", "")
        if event.kind == "strike" and event.data.get("shape"):
            self.say(f"Target {name} felt the probe ({event.data['shape']}).")
        if event.kind == "sends" and self._run_s() > 3:
            self.say(f"Target {name} comes in: it sends now.")

    def _clock(self) -> bool:
        return self.scenario.clock_shown or self.spectator

    def _to_find(self) -> int | None:
        """How many there are, for those who may know."""
        known = self.scenario.told or self.spectator
        return self.conductor.state.to_find or None if known else None

    def _begun(self) -> bool:
        return self.conductor.state.start_s is not None and self._run_s() >= 0

    def _run_s(self) -> float:
        start_s = self.conductor.state.start_s
        if start_s is None or start_s.best is None:
            return 0.0
        return asyncio.get_running_loop().time() - start_s.best

    def live_state(self) -> LiveState:
        state, crew = self.conductor.state, self.conductor.crew
        heard = sum(member.away_since_s is None for member in crew.members.values())
        countdown = () if self._begun() or not state.started else (self._countdown(),)
        return LiveState(
            phase=self._phase(),
            field_name=self.conductor.place.name,
            run_s=max(0.0, self._run_s()) if self._clock() else None,
            time_limit_s=self.scenario.time_limit_s if self._clock() else None,
            found=len(state.finds),
            to_find=self._to_find(),
            links_heard=heard,
            links=len(crew.members),
            spectator=tuple(map(self._row, state.targets)) if self.spectator else None,
            searcher_xy=self.searcher_xy,
            start_xy=(self.scenario.start.x_m, self.scenario.start.y_m),
            messages=(*self.messages, *countdown),
            warnings=tuple(self.conductor.troubles),
            speed=self.speed,
        )

    def _countdown(self) -> Message:
        return Message(None, f"Starts in {-self._run_s():.0f} s.")

    def _phase(self) -> Phase:
        state = self.conductor.state
        if state.phase in ("ending", "closed"):
            return "closing"
        if not state.started:
            return "loading"
        if not self._begun():
            return "starting"
        return "overtime" if state.phase == "overtime" and self._clock() else "running"

    def _row(self, view: runs.TargetView) -> TargetRow:
        part = self.scenario.part(view.name)
        assert part is not None
        over = self.conductor.state.phase in ("ending", "closed")
        signal: Signal = "silent" if over else "sends" if view.sends else "rests"
        found = any(name == view.name for name, _ in self.conductor.state.finds)
        return TargetRow(
            name=view.name,
            x_m=part.x_m,
            y_m=part.y_m,
            depth_m=part.depth_m,
            signal=signal,
            found=found,
        )


@asynccontextmanager
async def followed(
    conductor: Conductor, scenario: Scenario, *, show: bool, spectator: bool = False
) -> AsyncIterator[Follower]:
    """The follower of a run; with `show` its view stays on the terminal while the block lasts."""
    from rich.console import Console

    follower = Follower(conductor, scenario, spectator=spectator)
    if not show:
        yield follower
        return
    with LiveView(Console()) as view:
        task = asyncio.create_task(_refresh(follower, view))
        try:
            yield follower
        finally:
            task.cancel()
            view.show(follower.live_state())


async def _refresh(follower: Follower, view: LiveView) -> None:
    loop = asyncio.get_running_loop()
    while True:
        pace = loop.speed if isinstance(loop, VirtualLoop) else 1.0
        follower.speed = pace if isinstance(pace, (int, float)) else 1.0
        view.show(follower.live_state())
        await asyncio.sleep(REFRESH_S * follower.speed)
