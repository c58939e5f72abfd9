"""The run of `support.runs` with everything that a page can show, and runs that lack much of it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from blindfield.debrief.html_values import Beside, Modelled, ParRow, Told
from blindfield.debrief.performance import performance_of, ticks_in
from blindfield.debrief.timeline import build_timeline
from blindfield.debrief.values import Timeline
from blindfield.model.events import Event
from blindfield.model.field import Field, KeepOut, StartPoint
from blindfield.scoring.attempts import Attempt, Timed
from blindfield.scoring.judge import judge
from blindfield.scoring.standards import shipped
from blindfield.searcher.par import Band
from blindfield.searcher.values import Phase, Problem, Source, Trace
from support import runs

FIELD = Field(
    name="Larch Hollow",
    folder=Path("."),
    media=("sim:",),
    key_path=Path("field.key"),
    logbook_path=Path("logbook.sqlite"),
    start_points=(StartPoint("hut peg", 25.0, 0.0),),
    keep_outs=(KeepOut("creek", ((2.0, 2.0), (10.0, 2.0), (8.0, 7.0))),),
)
BESIDE = Beside(
    rows=(
        ParRow(name="start to first", band=Band(90.0, 130.0, 170.0), yours_s=192.48, faster="97"),
        ParRow(name="first to second", band=Band(200.0, None, None), yours_s=148.2, cut=True),
        ParRow(name="whole", band=Band(300.0, 420.0, 555.0)),
    ),
    said="500 modelled searches of this problem (a practised searcher), not people.",
)


def tick(run_s: float, step: str, **data: Any) -> Event:
    said = {"author": "Ari", "by": "observer", "means": "live", **data}
    return runs.host("tick", run_s, "person", step=step, **said)


def full_run(**scenario: Any) -> list[Event]:
    """`runs.good_run` with ticks, a dug-out known to a few seconds, and a called strike."""
    events = runs.good_run()
    events[0] = runs.drawn(**{"purpose": "Two near each other.", "watch": "Marking.", **scenario})
    events[-1:-1] = [
        tick(10.0, "safe_to_enter"),
        tick(180.0, "bracketed"),
        tick(194.0, "strike_called", value="put right"),
        tick(300.0, "approach_shown", value="missed", by="searcher"),
        runs.device("dug_out", "Larch", 280.0, 9, half_s=14.0),
    ]
    return events


def model() -> Modelled:
    """A search that goes straight there, and shows nothing for a while."""
    run_s = np.arange(0.0, 400.0, 1.0)
    shown_m = np.where(run_s < 60, np.nan, np.interp(run_s, [60, 300], [45.0, 1.3]))
    phases = [Phase.SIGNAL_SEARCH, Phase.COARSE_SEARCH, Phase.FINE_SEARCH, Phase.PINPOINTING]
    phase = np.array([phases[int(s // 100)] for s in run_s])
    trace = Trace(
        run_s=run_s,
        x_m=np.linspace(25.0, 36.0, 400),
        y_m=np.linspace(0.0, 26.0, 400),
        phase=phase,
        displayed_m=shown_m,
        arrow_deg=np.zeros(400),
        followed=np.zeros(400, dtype=int),
        found={"Larch": 390.0},
    )
    sources = (Source("Larch", 36.0, 26.0, 1.2),)
    return Modelled(
        problem=Problem(50.0, 50.0, 25.0, 0.0, sources), trace=trace, searcher="practised"
    )


def past(*seconds: float) -> tuple[Attempt, ...]:
    """Runs of the same task, a day apart; above the limit of 900 s not met. The last is this."""
    return tuple(
        Attempt(
            number=place,
            run_id=runs.RUN_ID if place == len(seconds) - 1 else bytes([place] * 8),
            utc=f"2026-01-{10 + place:02d}T10:05:00.000000Z",
            searcher="Ari",
            kind="two_signals",
            work="search only",
            outcome="met" if took_s <= 900.0 else "not_met",
            targets=2,
            limit_s=900.0,
            whole=Timed(took_s),
        )
        for place, took_s in enumerate(seconds)
    )


def told(events: list[Event] | None = None, **summary: Any) -> Told:
    """The page's values of a run; without `events` of the full one."""
    events = full_run() if events is None else events
    summed = runs.summary(standard="two_dug_out", searcher="Ari", **summary)
    timeline = build_timeline(runs.record(summed), events)
    ticks = tuple(ticks_in(timeline, events))
    verdict = judge(next(iter(shipped().values())), performance_of(timeline, events), ticks)
    return Told(
        timeline=timeline,
        beside=BESIDE,
        review=verdict.review,
        ticks=ticks,
        verdict=verdict,
        modelled=model(),
        past=past(612.0, 930.0, 340.66),
        place=FIELD,
    )


def bare(timeline: Timeline) -> Told:
    """Nothing but the run: no par, no standard, no ticks, no field."""
    none = told().review
    empty = replace(none, rows=(), faults=(), pluses=(), unseen=(), self_only=())
    return Told(timeline=timeline, beside=Beside(said="No par for this run: none."), review=empty)
