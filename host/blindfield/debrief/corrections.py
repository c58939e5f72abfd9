"""What people said afterwards of single events. Nothing is edited: it is read otherwise."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from blindfield.model.events import Event

COUNTING = ("no_strike", "counts")
"""Verdicts on whether there was a strike at all."""


@dataclass(frozen=True)
class Corrections:
    """What people said afterwards about single events, by verdict; the later word counts."""

    by_event_id: Mapping[int, Mapping[str, Mapping[str, Any]]]
    by_device_key: Mapping[tuple[str, int, int], Mapping[str, Mapping[str, Any]]]

    def of(self, event: Event) -> Mapping[str, Mapping[str, Any]]:
        """Verdict -> the correction that says so, the latest last."""
        if event.id is not None and event.id in self.by_event_id:
            return self.by_event_id[event.id]
        if event.device_key is None:
            return {}
        key = event.device_key
        return self.by_device_key.get((key.device_id.hex(), key.journal_id, key.seq), {})


def corrections(events: Sequence[Event]) -> Corrections:
    by_id: dict[int, dict[str, Mapping[str, Any]]] = {}
    by_key: dict[tuple[str, int, int], dict[str, Mapping[str, Any]]] = {}
    for event in events:
        if event.kind != "correction":
            continue
        if "event_id" in event.data:
            _said(by_id.setdefault(event.data["event_id"], {}), event.data)
        if "device_key" in event.data:
            device, journal, seq = event.data["device_key"]
            _said(by_key.setdefault((device, journal, seq), {}), event.data)
    return Corrections(by_id, by_key)


def _said(before: dict[str, Mapping[str, Any]], data: Mapping[str, Any]) -> None:
    """That it counts and that it was none replace each other; target and time stand beside them."""
    verdict = str(data.get("verdict", ""))
    if verdict == "as_recorded":
        before.clear()
        return
    replaced = COUNTING if verdict in COUNTING else (verdict,)
    for one in replaced:
        before.pop(one, None)
    before[verdict] = data
