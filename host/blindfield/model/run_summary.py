"""What is kept of a run once it is closed: the line in the list of runs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from blindfield.model.ids import RUN_ID_BYTES
from blindfield.model.scenario import Work
from blindfield.model.span import Span

Outcome = Literal["met", "not_met", "stopped", "interrupted", "void"]
OUTCOMES: tuple[Outcome, ...] = get_args(Outcome)


@dataclass(frozen=True, kw_only=True)
class RunSummary:
    """Derived from a run's events, never the other way round. Raises ValueError.

    `find_run_s`: time to each find in the order found, seconds since the start of the run.
    `started_utc` is None when the run never started; times as in `Event.utc`. `sent`: the names of
    the targets that were in play, sorted. `searcher` is empty where nobody was named;
    `knows_places`: they knew where the targets lie, so that the run is kept apart from blind ones.
    """

    run_id: bytes
    field_name: str
    scenario_kind: str
    standard: str | None
    time_limit_s: float | None
    started_utc: str | None
    ended_utc: str
    outcome: Outcome
    targets: int
    find_run_s: tuple[Span, ...] = ()
    flags: tuple[str, ...] = ()
    work: Work = "search only"
    searcher: str = ""
    knows_places: bool = False
    start_point: str = ""
    sent: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if len(self.run_id) != RUN_ID_BYTES:
            raise ValueError(f"a run id has {RUN_ID_BYTES} bytes, not {len(self.run_id)}")
        if self.outcome not in OUTCOMES:
            raise ValueError(f"no such outcome: {self.outcome!r}")

    @property
    def found(self) -> int:
        """How many targets were found."""
        return len(self.find_run_s)


@dataclass(frozen=True, kw_only=True)
class RunRecord:
    """A run as the logbook lists it. `summary` is None while the run is open.

    `commitment`: SHA-256 in hex over the salt and the scenario; `salt` (hex) comes at the close.
    """

    run_id: bytes
    field_name: str
    drawn_utc: str
    commitment: str
    salt: str | None
    is_open: bool
    summary: RunSummary | None
