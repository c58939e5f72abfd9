"""Proof that the problem was fixed before the search: a commitment that the close opens."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Mapping
from typing import Any

SALT_BYTES = 32


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
