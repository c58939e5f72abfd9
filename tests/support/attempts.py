"""Attempts as a reader of the logbook gives them, for tests of the statistics."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from blindfield.scoring.attempts import Attempt, Goal, Timed

GOAL = Goal(
    name="",
    title="2 targets found within 10:00",
    work="search only",
    targets=2,
    limit_s=600.0,
    depth_m=(0.0, 1.0),
)
DIG_GOAL = Goal(
    name="", title="dug out", work="search and dig", targets=2, limit_s=900.0, depth_m=(0.0, 1.0)
)


def attempt(number: int, **changes: Any) -> Attempt:
    """Two targets found within 600 s, blind, at standard depth."""
    values: dict[str, Any] = {
        "number": number,
        "run_id": b"att" + number.to_bytes(5, "big"),
        "utc": f"2026-02-{1 + number // 24 % 28:02d}T{number % 24:02d}:00:00.000000Z",
        "searcher": "Ana",
        "kind": "pair",
        "work": "search only",
        "outcome": "met",
        "targets": 2,
        "limit_s": 600.0,
        "depth_m": (0.7, 1.0),
        "legs": (Timed(200.0), Timed(200.0)),
        "whole": Timed(400.0),
    }
    return Attempt(**{**values, **changes})


def searched(number: int, whole_s: float, *, cut: bool = False, **changes: Any) -> Attempt:
    """The two legs of one length; met within the limit."""
    limit_s = changes.get("limit_s", 600.0)
    met = whole_s <= limit_s and not cut
    half = whole_s / 2
    return attempt(
        number,
        **{
            "outcome": "met" if met else "not_met",
            "legs": (Timed(half), Timed(half, cut)),
            "whole": Timed(whole_s, cut),
            **changes,
        },
    )


def series(wholes_s: Sequence[float], **changes: Any) -> list[Attempt]:
    return [searched(number, one, **changes) for number, one in enumerate(wholes_s, 1)]
