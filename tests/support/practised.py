"""A field folder with a logbook of somebody's runs, and the commands on it in process."""

from __future__ import annotations

import argparse
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from blindfield.drills.catalogue import drill_named
from blindfield.drills.draw import draw
from blindfield.field.settings import load_field
from blindfield.logbook.book import Logbook
from blindfield.logbook.commitment import drawn_data
from blindfield.model.errors import BlindfieldError
from blindfield.model.events import DeviceKey, Event, utc_text
from blindfield.model.field import Field
from blindfield.model.ids import run_id_text
from blindfield.model.run_summary import Outcome
from blindfield.model.scenario import EndOn
from blindfield.model.span import Span
from support import runs

KEY = bytes(range(32))
PLACES = {
    "Quillfern": (13.7, 41.3, 0.9),
    "Umberrock": (21.9, 12.6, 0.7),
    "Vetchmoor": (37.3, 33.1, 1.0),
    "Wrenhollow": (43.9, 18.7, 0.8),
}
IDS = {name: bytes([0xC0 + place]) * 8 for place, name in enumerate(PLACES)}
FIRST = datetime(2026, 2, 1, 9, 0, tzinfo=UTC)


def field_in(folder: Path, depth_m: float | None = None) -> Field:
    """The field file is written; `depth_m` for every target."""
    targets = "".join(
        f'[[target]]\nname = "{name}"\ndevice = "{IDS[name].hex()}"\n'
        f"x_m = {x_m}\ny_m = {y_m}\ndepth_m = {depth_m or own_m}\n"
        for name, (x_m, y_m, own_m) in PLACES.items()
    )
    path = folder / "field.toml"
    path.write_text(f'[field]\nname = "Larch Hollow"\nmedia = ["sim:practice"]\n{targets}')
    return load_field(path)


@dataclass
class Practised:
    """`folder` holds the field. Every run is made an hour after the one before it."""

    folder: Path
    capsys: pytest.CaptureFixture[str]
    number: int = 0
    _book: Logbook | None = field(default=None, repr=False)

    def like(self, other: Practised) -> None:
        """The runs of another folder, in place of none."""
        shutil.copytree(other.folder, self.folder, dirs_exist_ok=True)
        self.number = other.number

    def command(self, module: ModuleType, *words: str) -> tuple[int, str, str]:
        """(status, stdout, sentence of the error)."""
        field_in(self.folder)
        parser = argparse.ArgumentParser()
        module.add_arguments(parser)
        self.capsys.readouterr()
        options = parser.parse_args([*words, "--field", str(self.folder)])
        try:
            status, error = module.run(options), ""
        except BlindfieldError as refused:
            status, error = 1, str(refused)
        return status, self.capsys.readouterr().out, error

    @contextmanager
    def logbook(self) -> Iterator[Logbook]:
        """One for all that is done inside."""
        if self._book is not None:
            yield self._book
            return
        with Logbook.open(field_in(self.folder).logbook_path, field_key=KEY) as self._book:
            yield self._book
        self._book = None

    def run(
        self,
        legs_s: Sequence[float],
        *,
        digs_s: Sequence[float] = (),
        broken_off_s: float | None = None,
        outcome: Outcome = "met",
        kind: str = "pair",
        ticks: Sequence[tuple[str, Any]] = (),
        ticked_by: str = "observer",
        depth_m: float | None = None,
        seed: int | None = None,
        is_open: bool = False,
        utc: str | None = None,
        **summary: Any,
    ) -> str:
        """One run in the logbook, targets found after these legs; its id. `summary`: what differs
        in its line."""
        self.number += 1
        place = field_in(self.folder, depth_m)
        run_id = b"prc" + self.number.to_bytes(5, "big")
        end_on: EndOn = "dug_out" if digs_s else "strike"
        scenario = draw(
            place,
            drill_named(kind),
            seed=self.number if seed is None else seed,
            time_limit_s=600.0,
            end_on=end_on,
        )
        names = [part.name for part in scenario.in_play]
        end_s = sum(legs_s) + sum(digs_s) + (3.0 if broken_off_s is None else broken_off_s)
        data = drawn_data(scenario.to_json(), field_name=place.name)
        events = [runs.host("run_drawn", -60.0, **data), runs.started()]
        events += [_felt("sends", name, 0.0005, 1) for name in names]
        events += [*_finds(names, legs_s, digs_s), *_said(ticks, ticked_by, outcome, end_s)]
        started = utc or utc_text(FIRST + timedelta(hours=self.number))
        line = {
            "run_id": run_id,
            "field_name": place.name,
            "scenario_kind": kind,
            "time_limit_s": 600.0,
            "started_utc": started,
            "ended_utc": started,
            "outcome": outcome,
            "targets": len(names),
            "find_run_s": tuple(Span(s, s, s) for s in _moments(legs_s, digs_s)),
            "work": scenario.work,
            "searcher": "Ana",
            **summary,
        }
        with self.logbook() as book:
            book.append_many([_of(event, run_id) for event in events])
            if not is_open:
                book.close_run(run_id, runs.summary(**line))
        return run_id_text(run_id)

    def runs(self, wholes_s: Sequence[float], **more: Any) -> None:
        """Runs of two legs, each half of the whole; met within 600 s."""
        with self.logbook():
            for whole_s in wholes_s:
                outcome = "met" if whole_s <= 600 else "not_met"
                self.run([whole_s / 2, whole_s / 2], **{"outcome": outcome, **more})


def _said(ticks: Sequence[tuple[str, Any]], by: str, outcome: Outcome, end_s: float) -> list[Event]:
    """What people did and how it ended."""
    events = [
        runs.host("tick", 5.0, "person", step=step, value=value, by=by) for step, value in ticks
    ]
    if outcome == "stopped":
        events.append(runs.host("stop", end_s, "person", by="searcher", means="keyboard"))
    return [*events, runs.host("closed", end_s, outcome=outcome, found=0)]


def _moments(legs_s: Sequence[float], digs_s: Sequence[float]) -> list[float]:
    at_s, moments = 0.0, []
    for place, leg_s in enumerate(legs_s):
        at_s += leg_s + (digs_s[place] if place < len(digs_s) else 0.0)
        moments.append(at_s)
    return moments


def _finds(names: Sequence[str], legs_s: Sequence[float], digs_s: Sequence[float]) -> list[Event]:
    events, run_s = [], 0.0
    for place, leg_s in enumerate(legs_s):
        run_s += leg_s
        events.append(_felt("strike", names[place], run_s, 2, shape="sharp", in_play=True))
        if place < len(digs_s):
            run_s += digs_s[place]
            events.append(_felt("dug_out", names[place], run_s, 3))
    return events


def _felt(kind: str, name: str, run_s: float, seq: int, **data: object) -> Event:
    event = runs.device(kind, "Larch", run_s, seq, **data)
    key = DeviceKey(IDS[name], 9, seq)
    return replace(event, device_key=key, data={**event.data, "device": name})


def _of(event: Event, run_id: bytes) -> Event:
    """The event as one of this run; a device's records carry a journal of their own."""
    key = event.device_key
    own = None if key is None else key._replace(journal_id=int.from_bytes(run_id[3:], "big"))
    return replace(event, run_id=run_id, device_key=own)
