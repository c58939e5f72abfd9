"""A field folder with a logbook of made-up runs, and the command `par` on it in process."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from blindfield.console import par
from blindfield.drills.catalogue import drill_named
from blindfield.drills.draw import draw
from blindfield.field.settings import load_field
from blindfield.logbook.book import Logbook
from blindfield.logbook.commitment import drawn_data
from blindfield.model.errors import BlindfieldError
from blindfield.model.events import DeviceKey, Event
from blindfield.model.field import Field
from blindfield.model.ids import run_id_text
from blindfield.model.run_summary import Outcome
from blindfield.model.scenario import EndOn
from support import runs

KEY = bytes(range(32))
PLACES = {
    "Quillfern": (13.7, 41.3, 1.1),
    "Umberrock": (21.9, 12.6, 0.9),
    "Vetchmoor": (37.3, 33.1, 1.3),
    "Wrenhollow": (43.9, 18.7, 0.8),
}
IDS = {name: bytes([0xC0 + place]) * 8 for place, name in enumerate(PLACES)}


def field_in(folder: Path) -> Field:
    """The field file is written."""
    targets = "".join(
        f'[[target]]\nname = "{name}"\ndevice = "{IDS[name].hex()}"\n'
        f"x_m = {x_m}\ny_m = {y_m}\ndepth_m = {depth_m}\n"
        for name, (x_m, y_m, depth_m) in PLACES.items()
    )
    path = folder / "field.toml"
    path.write_text(f'[field]\nname = "Larch Hollow"\nmedia = ["sim:practice"]\n{targets}')
    return load_field(path)


@dataclass
class ParField:
    """`folder` is the current folder; the field is made by `place`."""

    folder: Path
    capsys: pytest.CaptureFixture[str]

    def place(self) -> Field:
        return field_in(self.folder)

    def par(self, *words: str) -> tuple[int, str, str]:
        """(status, stdout, sentence of the error)."""
        parser = argparse.ArgumentParser()
        par.add_arguments(parser)
        self.capsys.readouterr()
        try:
            status, error = par.run(parser.parse_args(words)), ""
        except BlindfieldError as refused:
            status, error = 1, str(refused)
        return status, self.capsys.readouterr().out, error

    def run_made(
        self,
        legs_s: Sequence[float],
        *,
        number: int = 1,
        digs_s: Sequence[float] = (),
        broken_off_s: float | None = None,
        outcome: Outcome = "met",
        is_open: bool = False,
    ) -> str:
        """A run of two targets in the logbook, found after these legs; its id."""
        place = self.place()
        run_id = b"par" + number.to_bytes(5, "big")
        end_on: EndOn = "dug_out" if digs_s else "strike"
        scenario = draw(place, drill_named("pair"), seed=number, time_limit_s=600.0, end_on=end_on)
        data = drawn_data(scenario.to_json(), field_name=place.name)
        names = [part.name for part in scenario.in_play]
        events = [runs.host("run_drawn", -60.0, **data), runs.started()]
        events += [_felt("sends", name, 0.0005, 1) for name in names]
        run_s = 0.0
        for place_, leg_s in enumerate(legs_s):
            run_s += leg_s
            events.append(_felt("strike", names[place_], run_s, 2, shape="sharp", in_play=True))
            if place_ < len(digs_s):
                run_s += digs_s[place_]
                events.append(_felt("dug_out", names[place_], run_s, 3))
        end_s = run_s + 3.0 if broken_off_s is None else run_s + broken_off_s
        found = len(legs_s)
        events.append(runs.host("closed", end_s, outcome=outcome, found=found, targets=2))
        with Logbook.open(place.logbook_path, field_key=KEY) as book:
            book.append_many([_of(event, run_id) for event in events])
            if not is_open:
                summary = runs.summary(
                    run_id=run_id, field_name=place.name, scenario_kind="pair", outcome=outcome
                )
                book.close_run(run_id, summary)
        return run_id_text(run_id)


def _felt(kind: str, name: str, run_s: float, seq: int, **data: object) -> Event:
    event = runs.device(kind, "Larch", run_s, seq, **data)
    return replace(
        event,
        device_key=DeviceKey(IDS[name], 9, seq),
        data={**event.data, "device": name},
    )


def _of(event: Event, run_id: bytes) -> Event:
    """The event as one of this run; a device's records carry a journal of their own."""
    key = event.device_key
    own = None if key is None else key._replace(journal_id=int.from_bytes(run_id[3:], "big"))
    return replace(event, run_id=run_id, device_key=own)
