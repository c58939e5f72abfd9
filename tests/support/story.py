"""A run told to the reducer by hand, event by event."""

from __future__ import annotations

from typing import Any

from blindfield.conduct import state as runs
from blindfield.logbook.commitment import drawn_data
from blindfield.model.event_kinds import KINDS
from blindfield.model.events import Event
from blindfield.model.scenario import Scenario
from blindfield.model.span import Span

RUN = b"runrunru"
START_S = 100.0


def event(kind: str, at_s: float | None = None, wide_s: float = 0.001, **data: Any) -> Event:
    span = None if at_s is None else Span(at_s - wide_s, at_s, at_s + wide_s)
    return Event(
        kind=kind,
        source=KINDS[kind].sources[0],
        host_epoch=b"h" * 8,
        utc="2026-01-10T09:00:00.000000Z",
        run_id=RUN,
        host_s=span,
        data=data,
    )


class Story:
    """A run driven by hand: `tell` an event, look at `state` and the commands so far."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.state = runs.RunState()
        self.events: list[Event] = []
        self.commands: list[runs.Command] = []
        self.tell(event("run_drawn", **drawn_data(scenario.to_json(), field_name="Larch Hollow")))
        self.first, self.second = self._order()
        self.resting = next((p.name for p in scenario.targets if not p.in_play), "")

    def _order(self) -> tuple[str, str]:
        parts = sorted(self.scenario.in_play, key=lambda part: part.cues[0].trigger != "at")
        return (parts[0].name, parts[-1].name) if parts else ("", "")

    def tell(self, *events: Event) -> None:
        for one in events:
            self.events.append(one)
            self.state, commands = runs.reduce(self.state, one)
            self.commands += commands

    def start(self) -> Story:
        self.tell(
            event(
                "started_all",
                start_host_s=[START_S, START_S, START_S],
                start_utc="2026-01-10T09:00:03.000000Z",
            )
        )
        return self

    def strike(self, name: str, run_s: float, **data: Any) -> None:
        self.tell(event("strike", START_S + run_s, device=name, **{"sending": True, **data}))

    def says(self, kind: str, run_s: float, **data: Any) -> None:
        """A person says something at a run time."""
        self.tell(event(kind, START_S + run_s, **data))
