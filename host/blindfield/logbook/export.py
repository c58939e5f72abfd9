"""A run's events as JSON Lines, for other programs."""

from __future__ import annotations

import json
from collections.abc import Iterable

from blindfield.model.events import Event


def to_json_lines(events: Iterable[Event]) -> str:
    """One event per line in the form of `Event.to_json`, each line ended by a newline."""
    return "".join(json.dumps(event.to_json(), sort_keys=True) + "\n" for event in events)
