"""One line of the record: what happened, who says so, by whose clock, how well it is known."""

from __future__ import annotations

import dataclasses
import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, NamedTuple

from blindfield.model.errors import LogbookError
from blindfield.model.event_kinds import KINDS, Source
from blindfield.model.ids import HOST_EPOCH_BYTES, RUN_ID_BYTES, parse_run_id, run_id_text
from blindfield.model.span import Span

DEVICE_ID_BYTES = 8
_UTC = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z")


class DeviceKey(NamedTuple):
    """Names one journal record for ever: a record fetched twice is the same event."""

    device_id: bytes
    journal_id: int
    seq: int


class DeviceTime(NamedTuple):
    """An instant of one device's clock: (lap, ms, us) of the clock `clock_id`."""

    clock_id: int
    lap: int
    ms: int
    us: int


@dataclass(frozen=True, kw_only=True)
class Event:
    """Raises LogbookError for a kind or field outside the registry, ValueError for other misuse.

    `host_s` is `loop.time()` of the process named by `host_epoch`; `utc` is that host's wall clock
    when the event was recorded (see `utc_text`). `data` is kept as JSON gives it back: tuples
    become lists. `raw` holds the bytes as they came. `id` is the logbook's own number.
    """

    kind: str
    source: Source
    host_epoch: bytes
    utc: str
    run_id: bytes | None = None
    device_key: DeviceKey | None = None
    device_time: DeviceTime | None = None
    host_s: Span | None = None
    data: dict[str, Any] = field(default_factory=dict)
    raw: bytes = b""
    id: int | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        _check_kind(self)
        _check_shape(self)
        # A private copy: nobody changes a recorded event through the dict handed in.
        object.__setattr__(self, "data", json.loads(json.dumps(self.data, allow_nan=False)))
        if self.device_key is not None:
            object.__setattr__(self, "device_key", DeviceKey(*self.device_key))
        if self.device_time is not None:
            object.__setattr__(self, "device_time", DeviceTime(*self.device_time))

    def with_id(self, number: int) -> Event:
        """The same event under the logbook's number."""
        return dataclasses.replace(self, id=number)

    def to_json(self) -> dict[str, Any]:
        """A dict of plain JSON values; `from_json` is its inverse. Bytes in hex."""
        key, time, host = self.device_key, self.device_time, self.host_s
        return {
            "id": self.id,
            "run_id": None if self.run_id is None else run_id_text(self.run_id),
            "source": self.source,
            "device_key": None if key is None else {**key._asdict(), "device_id": key[0].hex()},
            "device_time": None if time is None else time._asdict(),
            "host_epoch": self.host_epoch.hex(),
            "host_s": None if host is None else dataclasses.asdict(host),
            "utc": self.utc,
            "kind": self.kind,
            "data": self.data,
            "raw": self.raw.hex(),
        }

    @classmethod
    def from_json(cls, values: Mapping[str, Any]) -> Event:
        """Raises LogbookError when `values` is not what `to_json` gives."""
        try:
            return cls(**_fields(values))
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise LogbookError(
                f"an event cannot be read: {error!r}.", remedy="The record is damaged there."
            ) from error


def utc_text(moment: datetime | None = None) -> str:
    """ISO 8601 with microseconds and Z, such as 2026-01-31T09:30:00.000000Z; None means now.

    Raises ValueError for a datetime without a time zone.
    """
    moment = datetime.now(UTC) if moment is None else moment
    if moment.tzinfo is None:
        raise ValueError("a time without a zone is nobody's time")
    plain = moment.astimezone(UTC).replace(tzinfo=None)
    return plain.isoformat(timespec="microseconds") + "Z"


def _fields(values: Mapping[str, Any]) -> dict[str, Any]:
    key, time, host = values["device_key"], values["device_time"], values["host_s"]
    if key is not None:
        key = DeviceKey(bytes.fromhex(key["device_id"]), key["journal_id"], key["seq"])
    return {
        "id": values["id"],
        "run_id": None if values["run_id"] is None else parse_run_id(values["run_id"]),
        "source": values["source"],
        "device_key": key,
        "device_time": None if time is None else DeviceTime(**time),
        "host_epoch": bytes.fromhex(values["host_epoch"]),
        "host_s": None if host is None else Span(**host),
        "utc": values["utc"],
        "kind": values["kind"],
        "data": values["data"],
        "raw": bytes.fromhex(values["raw"]),
    }


def _check_kind(event: Event) -> None:
    kind = KINDS.get(event.kind)
    newer = "It may come from a newer blindfield: update this one."
    if kind is None:
        raise LogbookError(f"no such kind of event: {event.kind!r}.", remedy=newer)
    if event.source not in kind.sources:
        raise ValueError(f"{event.kind!r} cannot come from {event.source!r}")
    unknown = sorted(set(event.data) - set(kind.fields))
    if unknown:
        raise LogbookError(
            f"an event {event.kind!r} has no field {', '.join(map(repr, unknown))}.", remedy=newer
        )


def _check_shape(event: Event) -> None:
    if event.run_id is not None and len(event.run_id) != RUN_ID_BYTES:
        raise ValueError(f"a run id has {RUN_ID_BYTES} bytes")
    if len(event.host_epoch) != HOST_EPOCH_BYTES:
        raise ValueError(f"a host epoch has {HOST_EPOCH_BYTES} bytes")
    if event.device_key is not None and len(event.device_key[0]) != DEVICE_ID_BYTES:
        raise ValueError(f"a device id has {DEVICE_ID_BYTES} bytes")
    if not _UTC.fullmatch(event.utc):
        raise ValueError(f"not a UTC time with microseconds and Z: {event.utc!r}")
    if event.host_s is not None:
        _check_span(event.host_s)


def _check_span(span: Span) -> None:
    known = [span.low, span.high] if span.best is None else [span.low, span.best, span.high]
    if not all(map(math.isfinite, known)) or known != sorted(known):
        raise ValueError(f"not a span of time: {span}")
