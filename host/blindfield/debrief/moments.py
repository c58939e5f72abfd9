"""When an event happened in run time, and how well that is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from blindfield.model.events import Event
from blindfield.model.span import Span
from fieldcore.instant import total_us

# A sheet never runs longer than this (the cap on every carrier), so nothing of a run lies later.
LONGEST_RUN_S = 1200.0
# What a crystal clock that nobody compared may be wrong by: our figure, twice a usual +-50 ppm.
UNCOMPARED_RATE = 100e-6


@dataclass(frozen=True)
class _DeviceStart:
    clock_id: int
    at_us: int


class RunClock:
    """Turns the events of one run into run time; built from all of them.

    Run time zero is the start that `started_all` holds. An event stamped in the loop time of
    another process (the program was restarted) is placed by its device's own clock, if that
    clock ran through from the start; else it lies somewhere in the run, without a best.
    """

    def __init__(self, events: Sequence[Event]) -> None:
        begun = [event for event in events if event.kind == "started_all"]
        self.started = bool(begun) and "start_host_s" in begun[-1].data
        self._epoch = begun[-1].host_epoch if begun else b""
        zero = begun[-1].data["start_host_s"] if self.started else [0.0, 0.0, 0.0]
        self._zero = Span(*zero)
        self._device_starts: dict[str, _DeviceStart] = {}
        for event in events:
            self._learn_start(event)

    def _learn_start(self, event: Event) -> None:
        data = event.data
        if event.kind == "start_sent" and "start_device" in data and "clock_id" in data:
            begun = _DeviceStart(data["clock_id"], total_us(*data["start_device"]))
            self._device_starts[data.get("device", "")] = begun

    @property
    def start_slack(self) -> Span:
        """How well the start itself is known, as a span about zero."""
        zero = self._zero_s
        return Span(self._zero.low - zero, 0.0, self._zero.high - zero)

    def of(self, event: Event) -> Span:
        """Run time of the event; includes the start's own uncertainty."""
        if event.host_s is not None and event.host_epoch == self._epoch:
            zero = self._zero_s
            return event.host_s.minus(Span(zero, zero, zero)).minus(self.start_slack)
        return self._by_device_clock(event) or Span(0.0, None, LONGEST_RUN_S)

    @property
    def _zero_s(self) -> float:
        zero = self._zero
        return (zero.low + zero.high) / 2 if zero.best is None else zero.best

    def knows(self, event: Event) -> bool:
        """Whether anything better than "during the run" can be said."""
        here = event.host_s is not None and event.host_epoch == self._epoch
        return self.started and (here or self._by_device_clock(event) is not None)

    def _by_device_clock(self, event: Event) -> Span | None:
        begun = self._device_starts.get(event.data.get("device", ""))
        time = event.device_time
        if begun is None or time is None or time.clock_id != begun.clock_id:
            return None
        elapsed_s = (total_us(time.lap, time.ms, time.us) - begun.at_us) / 1e6
        slack_s = abs(elapsed_s) * UNCOMPARED_RATE
        return Span(elapsed_s - slack_s, elapsed_s, elapsed_s + slack_s)
