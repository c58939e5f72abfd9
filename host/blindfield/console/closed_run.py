"""A closed run that a person says something about afterwards."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from blindfield.console.blind import refuse_while_open
from blindfield.console.desk import field_of
from blindfield.console.entries import key_of, login_name
from blindfield.debrief.moments import RunClock
from blindfield.debrief.timeline import build_timeline
from blindfield.debrief.values import TargetStory, Timeline
from blindfield.logbook.book import Logbook
from blindfield.model.errors import ConfigError
from blindfield.model.events import Event, utc_text
from blindfield.model.field import Field
from blindfield.model.ids import new_host_epoch, run_id_text
from blindfield.model.run_summary import RunRecord
from blindfield.model.span import Span

SHOWN_OF_ID = 6
LONGEST_RUN_S = 1200.0
_CLOCK = re.compile(r"(?:(\d{1,2}):)?(\d{1,4})(?:[.,](\d))?")


@dataclass(frozen=True)
class ClosedRun:
    """One closed run in its logbook, as of the last `reread`."""

    place: Field
    logbook: Logbook
    record: RunRecord
    events: list[Event]
    timeline: Timeline

    @property
    def label(self) -> str:
        return run_id_text(self.record.run_id)[:SHOWN_OF_ID]

    @property
    def run_ended(self) -> Span | None:
        """Run time of the close, as it was recorded: no correction moves it."""
        clock = RunClock(self.events)
        closed = [event for event in self.events if event.kind == "closed"]
        return clock.of(closed[-1]) if closed and clock.knows(closed[-1]) else None

    def keep(self, many: Sequence[dict[str, Any]], kind: str) -> None:
        """Entries of now by a person, all or none; values that are None are left out."""
        utc, epoch = utc_text(), new_host_epoch()
        self.logbook.append_many(
            [
                Event(
                    kind=kind,
                    source="person",
                    host_epoch=epoch,
                    utc=utc,
                    run_id=self.record.run_id,
                    data={name: value for name, value in data.items() if value is not None},
                )
                for data in many
            ]
        )

    def reread(self) -> ClosedRun:
        """With what was said since."""
        return _closed(self.place, self.logbook, run_id_text(self.record.run_id))

    def target_named(self, name: str) -> TargetStory:
        """However it is typed. Raises ConfigError."""
        for target in self.timeline.targets:
            if target.name.casefold() == name.strip().casefold():
                return target
        known = ", ".join(target.name for target in self.timeline.targets)
        raise ConfigError(
            f'no target of this run is called "{name}".', remedy=f"There were: {known}."
        )


@contextmanager
def closed_run(options: argparse.Namespace, which: str | None) -> Iterator[ClosedRun]:
    """The run of the field that the command line names; `which` None: the latest.

    Raises NotReady while a run is open here: what is said now would tell of it, or be sealed.
    """
    place = field_of(options)
    with Logbook.open(place.logbook_path, field_key=key_of(place), create=False) as logbook:
        refuse_while_open(logbook)
        yield _closed(place, logbook, which)


def _closed(place: Field, logbook: Logbook, which: str | None) -> ClosedRun:
    record = logbook.find_run(which)
    events = logbook.events_of(record.run_id)
    return ClosedRun(place, logbook, record, events, build_timeline(record, events))


def author_of(options: argparse.Namespace) -> str:
    """Who says so, as `--by` tells, else the name logged in with."""
    return str(options.by or login_name())


def run_s_of(text: str) -> float:
    """Seconds since the start, as people say them: 3:20, 200, 3:20.5. Raises ConfigError."""
    found = _CLOCK.fullmatch(text.strip())
    if found is not None:
        minutes, seconds, tenth = found.groups()
        run_s = 60.0 * int(minutes or 0) + int(seconds) + int(tenth or 0) / 10.0
        if run_s <= LONGEST_RUN_S and not (minutes and int(seconds) >= 60):
            return run_s
    raise ConfigError(
        f'"{text}" is no time of a run.', remedy="Give minutes and seconds, such as 3:20."
    )
