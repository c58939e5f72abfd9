"""Runs and events to fill a logbook with."""

from __future__ import annotations

from typing import Any

from blindfield.logbook.book import Logbook
from blindfield.logbook.commitment import drawn_data
from blindfield.model.events import DeviceKey, DeviceTime, Event
from blindfield.model.run_summary import RunSummary
from blindfield.model.span import Span

KEY = bytes(range(32))
OTHER_KEY = bytes(range(1, 33))
EPOCH = b"loopclok"
UTC = "2026-01-31T09:30:00.000000Z"
DEVICE = b"\xd5TARGET\xd5"
SCENARIO = {"kind": "two_signals", "targets": [{"name": "anvil", "sends_at_s": 0.0}]}


def run_id(number: int) -> bytes:
    return b"run" + number.to_bytes(5, "big")


def drawn(run: bytes, scenario: dict[str, Any] = SCENARIO) -> Event:
    data = drawn_data(scenario, field_name="upper meadow")
    return Event(kind="run_drawn", source="host", host_epoch=EPOCH, utc=UTC, run_id=run, data=data)


def strike(run: bytes | None, seq: int, **data: Any) -> Event:
    return Event(
        kind="strike",
        source="device",
        host_epoch=EPOCH,
        utc=UTC,
        run_id=run,
        device_key=DeviceKey(DEVICE, 7, seq),
        device_time=DeviceTime(0xFFFFFFFF, 1, 0x3FFFFFFF, 999),
        host_s=Span(10.25, 10.5, 10.75),
        data={"shape": "sharp", "device": "anvil", **data},
        raw=b"raw journal record",
    )


def note(run: bytes | None, text: str) -> Event:
    return Event(
        kind="note", source="person", host_epoch=EPOCH, utc=UTC, run_id=run, data={"text": text}
    )


def summary(run: bytes, **changes: Any) -> RunSummary:
    values: dict[str, Any] = {
        "run_id": run,
        "field_name": "upper meadow",
        "scenario_kind": "two_signals",
        "standard": "two in fifteen minutes",
        "time_limit_s": 900.0,
        "started_utc": UTC,
        "ended_utc": UTC,
        "outcome": "met",
        "targets": 2,
        "find_run_s": (Span(61.0, 61.5, 62.0), Span(200.0, None, 260.0)),
        "flags": ("early_strike",),
    }
    return RunSummary(**{**values, **changes})


def with_open_run(book: Logbook, number: int = 1) -> bytes:
    """Draws a run and gives its id."""
    run = run_id(number)
    book.append(drawn(run))
    return run
