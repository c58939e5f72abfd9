"""A device's journal record as an event of the logbook."""

from __future__ import annotations

from typing import Any

from blindfield.links.clock import Clocks
from blindfield.links.records import JournalRecord
from blindfield.model.event_kinds import KINDS
from blindfield.model.events import DeviceKey, DeviceTime, Event
from blindfield.model.span import Span
from fieldcore.instant import total_us

ONSET_S = {"sharp": (0.002, 0.002), "push": (0.08, 0.14)}
"""How far the touch may lie before and after its stamp, s: 5-95 % of 10 000 draws of the strike
model (tests/benchmarks/strike.py: sharp -0.7..+0.7 ms, push -125..+76 ms), rounded outward. Never
measured in snow."""

_FINDINGS = ((1, "clipped"), (2, "repeat"))  # finding flags of fieldcore.strike


def event_of(
    record: JournalRecord,
    *,
    device_id: bytes,
    name: str,
    journal_id: int,
    clocks: Clocks,
    last_heard_s: float,
    now_s: float,
    host_epoch: bytes,
    utc: str,
    run_id: bytes | None,
) -> Event:
    """An event whose clock was never synchronised lies somewhere between `last_heard_s` and
    `now_s`, with no best time."""
    return Event(
        kind=record.kind,
        source="device",
        host_epoch=host_epoch,
        utc=utc,
        run_id=run_id,
        device_key=DeviceKey(device_id, journal_id, record.seq),
        device_time=DeviceTime(record.clock_id, record.lap, record.ms, record.us),
        host_s=_felt(
            record,
            clocks.to_host(
                record.clock_id,
                total_us(record.lap, record.ms, record.us),
                earliest_s=min(last_heard_s, now_s),
                latest_s=now_s,
            ),
        ),
        data={"device": name, "run_tag": record.run_tag, **_data(record)},
        raw=record.raw,
    )


def _felt(record: JournalRecord, stamped: Span) -> Span:
    """The time of the touch itself: the stamp's, widened by what the detector cannot know."""
    if record.kind != "strike":
        return stamped
    before_s, after_s = ONSET_S.get(record.data["shape"], ONSET_S["push"])
    return Span(stamped.low - before_s, stamped.best, stamped.high + after_s)


def _data(record: JournalRecord) -> dict[str, Any]:
    """The record's own data under the names of the registry."""
    if record.kind == "strike":
        return _strike(record)
    if record.kind == "gap":
        return {"cause": f"{record.data['not_kept']} records not kept, for want of room"}
    if record.kind == "record":
        return {"code": record.code, "payload": record.payload.hex()}
    kept = KINDS[record.kind].fields
    return {name: value for name, value in record.data.items() if name in kept}


def _strike(record: JournalRecord) -> dict[str, Any]:
    words = [word for bit, word in _FINDINGS if record.data["findings"] & bit]
    return {
        "shape": record.data["shape"],
        "strength": record.data["strength"],
        "sending": record.sends,
        "flags": words,
    }
