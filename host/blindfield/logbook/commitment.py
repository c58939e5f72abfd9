"""Proof that the problem was fixed before the search: a commitment that the close opens.

A problem names who it was drawn for, so taking a person's name out of the record breaks the proof.
Kept beside the changed problem, the commitment would also betray the name to whoever guesses it.
So the salt goes with the name: the commitment stays, nobody can open it any more, and the run says
so (NAME_REMOVED) instead of passing for proven. A copy made before still proves it.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Mapping
from typing import Any

SALT_BYTES = 32
NAME_REMOVED = "a name was removed"
"""The flag of a `run_drawn` event whose problem named a person who is forgotten."""


def commit(scenario: Mapping[str, Any], salt: bytes) -> str:
    """SHA-256 in hex over the salt and the scenario's JSON (keys sorted, no spaces, UTF-8).

    Raises ValueError for a salt too short to hide the scenario, or a scenario that is no JSON.
    """
    if len(salt) < SALT_BYTES:
        raise ValueError(f"a salt has {SALT_BYTES} bytes, not {len(salt)}")
    text = json.dumps(scenario, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(salt + text.encode()).hexdigest()


def drawn_data(
    scenario: Mapping[str, Any],
    *,
    field_name: str,
    random: Callable[[int], bytes] = os.urandom,
    **further: Any,
) -> dict[str, Any]:
    """The data of a `run_drawn` event: the scenario, a fresh salt, and the commitment to both."""
    salt = random(SALT_BYTES)
    return {
        "field_name": field_name,
        "scenario": dict(scenario),
        "salt": salt.hex(),
        "commitment": commit(scenario, salt),
        **further,
    }


def name_was_removed(data: Mapping[str, Any]) -> bool:
    """Whether nobody can open the commitment of this `run_drawn` event any more."""
    return NAME_REMOVED in (data.get("flags") or ())
