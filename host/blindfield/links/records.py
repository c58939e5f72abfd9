"""Journal records as they travel: 32 bytes each, laid out as `fieldcore/journal.py` says."""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from blindfield.model.errors import ProtocolError
from blindfield.model.messages import ENDS, EVENTS, SILENCE_CAUSES
from fieldcore.compat import crc32
from fieldcore.device import FLAG_RUNNING, FLAG_SENDS

RECORD_BYTES = 32
UNKNOWN_KIND = "record"
MANNERS = {1: "sharp", 2: "push"}

_LAYOUT = struct.Struct("<BBBBIIIHH8sI")


@dataclass(frozen=True)
class JournalRecord:
    """`kind` is a name of `EVENTS`, or "record" for a number this program does not know.

    The instant is (lap, ms, us) of the clock `clock_id`. `data` is the payload by names, empty
    for an unknown kind; `raw` is the record as it came.
    """

    kind: str
    code: int
    flags: int
    lap: int
    seq: int
    clock_id: int
    ms: int
    us: int
    run_tag: int
    payload: bytes
    data: dict[str, Any]
    raw: bytes

    @property
    def in_run(self) -> bool:
        """A sheet was running on the device."""
        return bool(self.flags & FLAG_RUNNING)

    @property
    def sends(self) -> bool:
        """The sheet had the device sending."""
        return bool(self.flags & FLAG_SENDS)


def decode(raw: bytes) -> JournalRecord:
    """One record. Raises ProtocolError when it is damaged."""
    if len(raw) != RECORD_BYTES or crc32(raw[:-4]) != int.from_bytes(raw[-4:], "little"):
        raise ProtocolError(
            "A journal record arrived damaged.", remedy="It is asked for again by itself."
        )
    code, flags, lap, _, seq, clock_id, ms, us, run_tag, payload, _ = _LAYOUT.unpack(raw)
    kind = _named(EVENTS, code, UNKNOWN_KIND)
    data = _PAYLOADS[kind](payload) if kind in _PAYLOADS else {}
    return JournalRecord(kind, code, flags, lap, seq, clock_id, ms, us, run_tag, payload, data, raw)


def _named(table: tuple[tuple[str, str], ...], number: int, otherwise: str) -> str:
    return table[number - 1][0] if 1 <= number <= len(table) else otherwise


def _boot(payload: bytes) -> dict[str, Any]:
    count, latched, cause, journal_id = struct.unpack("<HBBI", payload)
    return {"count": count, "latched": bool(latched), "cause": cause, "journal_id": journal_id}


def _strike(payload: bytes) -> dict[str, Any]:
    strength, manner, findings = payload[:3]
    shape = MANNERS.get(manner, f"unknown ({manner})")
    return {"strength": strength, "shape": shape, "findings": findings}


def _silenced(payload: bytes) -> dict[str, Any]:
    count, latched, cause = struct.unpack_from("<HBB", payload)
    name = _named(SILENCE_CAUSES, cause, f"unknown ({cause})")
    return {"count": count, "latched": bool(latched), "cause": name}


def _rearmed(payload: bytes) -> dict[str, Any]:
    count, latched = struct.unpack_from("<HB", payload)
    return {"count": count, "latched": bool(latched)}


def _started(payload: bytes) -> dict[str, Any]:
    revision, elapsed_ms = struct.unpack_from("<BI", payload)
    return {"revision": revision, "elapsed_ms": elapsed_ms}


def _ended(payload: bytes) -> dict[str, Any]:
    return {"cause": _named(ENDS, payload[0], f"unknown ({payload[0]})")}


_PAYLOADS: dict[str, Callable[[bytes], dict[str, Any]]] = {
    "boot": _boot,
    "strike": _strike,
    "dug_out": lambda payload: {"tilt_deg": payload[0]},
    "silenced": _silenced,
    "rearmed": _rearmed,
    "started": _started,
    "sends": lambda payload: {"cue": payload[0]},
    "rests": lambda payload: {"cue": payload[0]},
    "ended": _ended,
    "gap": lambda payload: {"not_kept": int.from_bytes(payload[:4], "little")},
}
