"""Between values and rows: events plain and sealed, summaries, runs."""

from __future__ import annotations

import dataclasses
import json
from typing import Any, cast

from sqlalchemy import RowMapping

from blindfield.logbook.faults import Damaged
from blindfield.logbook.sealing import Sealer
from blindfield.model.errors import LogbookError
from blindfield.model.events import DeviceKey, DeviceTime, Event
from blindfield.model.ids import run_id_text
from blindfield.model.run_summary import RunRecord, RunSummary
from blindfield.model.span import Span

DRAWN_BYTES = 16_000


def plain_columns(event: Event) -> dict[str, Any]:
    """Every column of a readable row except `id` and `run_id`."""
    key = event.device_key or (None, None, None)
    time = event.device_time or (None, None, None, None)
    host = event.host_s
    return {
        "seal_hash": None,
        "sealed": None,
        "source": event.source,
        **dict(zip(("device_id", "journal_id", "seq"), key, strict=True)),
        **dict(zip(("clock_id", "device_lap", "device_ms", "device_us"), time, strict=True)),
        "host_epoch": event.host_epoch,
        "host_low_s": None if host is None else host.low,
        "host_best_s": None if host is None else host.best,
        "host_high_s": None if host is None else host.high,
        "utc": event.utc,
        "kind": event.kind,
        "data": json.dumps(event.data),
        "raw": event.raw,
    }


def sealed_columns(event: Event, sealer: Sealer) -> dict[str, Any]:
    """The columns of an opaque row: nothing but a hash and a blob."""
    row_hash = sealer.row_hash(event.device_key)
    plain = json.dumps(event.to_json()).encode()
    if event.kind == "run_drawn":
        plain = plain.ljust(DRAWN_BYTES)  # its size must not tell one problem from another
    return {"seal_hash": row_hash, "sealed": sealer.seal(event.run_id, row_hash, plain)}


def event_of(row: RowMapping, sealer: Sealer | None) -> Event:
    """The event of a plain or a sealed row, with its id. Raises LogbookError."""
    if row["sealed"] is None:
        return _plain_event(row)
    if sealer is None:
        name = "events" if row["run_id"] is None else f"run {run_id_text(row['run_id'])}"
        raise LogbookError(
            f"the {name} cannot be read while a run is open without the field key.",
            remedy="Give the field key; silencing needs none.",
        )
    plain = sealer.unseal(row["run_id"], row["seal_hash"], row["sealed"])
    return Event.from_json(json.loads(plain)).with_id(row["id"])


def _plain_event(row: RowMapping) -> Event:
    try:
        return _event(row)
    except (ValueError, TypeError) as error:
        raise Damaged(
            f"event {row['id']} cannot be read: {error}.", remedy="The record is damaged there."
        ) from error


def _event(row: RowMapping) -> Event:
    key, time = row["device_id"], row["clock_id"]
    low = row["host_low_s"]
    return Event(
        id=row["id"],
        run_id=row["run_id"],
        source=row["source"],
        device_key=None if key is None else DeviceKey(key, row["journal_id"], row["seq"]),
        device_time=None
        if time is None
        else DeviceTime(time, row["device_lap"], row["device_ms"], row["device_us"]),
        host_epoch=row["host_epoch"],
        host_s=None if low is None else Span(low, row["host_best_s"], row["host_high_s"]),
        utc=row["utc"],
        kind=row["kind"],
        data=json.loads(row["data"]),
        raw=row["raw"],
    )


def summary_columns(summary: RunSummary) -> dict[str, Any]:
    """The columns of a run that the close fills, except `salt` and `is_open`."""
    spans = [dataclasses.astuple(span) for span in summary.find_run_s]
    columns = {one.name: getattr(summary, one.name) for one in dataclasses.fields(summary)}
    del columns["run_id"]
    return {
        **columns,
        "found": summary.found,
        "find_run_s": json.dumps(spans),
        "flags": json.dumps(summary.flags),
        "sent": json.dumps(summary.sent),
    }


def run_of(row: RowMapping) -> RunRecord:
    """Raises Damaged."""
    try:
        return _run(row)
    except (ValueError, TypeError) as error:
        raise Damaged(
            f"row {row['number']} of the runs cannot be read: {error}.",
            remedy="The record is damaged there; `blindfield logbook check` saves the rest.",
        ) from error


def _run(row: RowMapping) -> RunRecord:
    return RunRecord(
        run_id=row["run_id"],
        field_name=row["field_name"],
        drawn_utc=row["drawn_utc"],
        commitment=row["commitment"],
        salt=row["salt"],
        is_open=row["is_open"],
        summary=None if row["is_open"] else _summary(row),
    )


def _summary(row: RowMapping) -> RunSummary:
    names = {one.name for one in dataclasses.fields(RunSummary)}
    values = cast(dict[str, Any], {name: row[name] for name in names})
    values["find_run_s"] = tuple(Span(*span) for span in json.loads(row["find_run_s"]))
    values["flags"] = tuple(json.loads(row["flags"]))
    values["sent"] = tuple(json.loads(row["sent"] or "[]"))
    values["knows_places"] = bool(row["knows_places"])
    values |= {name: row[name] or "" for name in ("searcher", "start_point")}
    values["work"] = row["work"] or "search only"
    return RunSummary(**values)
