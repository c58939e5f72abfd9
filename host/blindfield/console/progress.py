"""`blindfield progress`: what somebody's runs say, plain counts first."""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict, dataclass
from typing import Any

from blindfield.console.desk import add_field_argument, add_json_argument, field_of
from blindfield.console.entries import key_of
from blindfield.console.whose import Whose, add_whose_arguments, whose
from blindfield.logbook.book import Logbook
from blindfield.model.ids import run_id_text
from blindfield.scoring.attempts import Attempt, clock_set_back
from blindfield.scoring.counts import Steps, steps_of
from blindfield.scoring.prospect import Prospect, Prospects, dig_times, prospects_of
from blindfield.scoring.trends import Trend, dig_trend, trends_of


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_field_argument(parser)
    add_json_argument(parser)
    add_whose_arguments(parser)
    parser.add_argument(
        "--par",
        action="store_true",
        help="compute the modelled searcher's times for the runs that have none yet (slow)",
    )
    parser.add_argument("--ascii", action="store_true", help="draw without special characters")
    parser.epilog = (
        "Only blind runs at the standard's depth, by people who did not know the places, count "
        "towards the next attempt; void and interrupted ones are left out. Below 8 nothing is said."
    )


@dataclass(frozen=True)
class Progress:
    """`prospects` None: no run had a time limit."""

    whose: Whose
    prospects: Prospects | None
    trends: tuple[Trend, ...]
    digging: Trend | None
    steps: Steps
    set_back: tuple[tuple[Attempt, Attempt], ...]


def run(options: argparse.Namespace) -> int:
    place = field_of(options)
    with Logbook.open(place.logbook_path, field_key=key_of(place), create=False) as logbook:
        progress = progress_of(whose(options, place, logbook, make_par=options.par))
    if options.json:
        print(json.dumps(as_json(progress), indent=2, allow_nan=False, ensure_ascii=False))
        return 0
    from rich.console import Console

    from blindfield.console.progress_screen import render

    Console().print(render(progress, ascii_only=options.ascii))
    return 0


def progress_of(asked: Whose) -> Progress:
    """All figures of one person."""
    attempts = asked.own.attempts
    return Progress(
        whose=asked,
        prospects=None if asked.goal is None else prospects_of(asked.goal, attempts),
        trends=tuple(trends_of(attempts)),
        digging=dig_trend(dig_times(attempts)),
        steps=steps_of(attempts),
        set_back=tuple(clock_set_back(attempts)),
    )


def as_json(progress: Progress) -> dict[str, Any]:
    """Plain JSON values; times in seconds, moments as in ISO 8601."""
    asked, both = progress.whose, progress.prospects
    return {
        "searcher": asked.searcher,
        "runs": asked.runs,
        "read": len(asked.own.attempts),
        "unread": asked.own.unread,
        "without_par": asked.own.without_par,
        "standard": None if asked.goal is None else asdict(asked.goal),
        "blind": None if both is None else _prospect(both.blind),
        "knowing_the_places": None
        if both is None or both.knowing is None
        else _prospect(both.knowing),
        "times": [_trend(trend) for trend in progress.trends],
        "digging": None if progress.digging is None else _trend(progress.digging),
        "steps": asdict(progress.steps),
        "clock_set_back": [
            [run_id_text(before.run_id), run_id_text(after.run_id)]
            for before, after in progress.set_back
        ],
        "latest_utc": asked.own.attempts[-1].utc if asked.own.attempts else None,
    }


def _prospect(one: Prospect) -> dict[str, Any]:
    count = one.count
    return {
        "met": count.met,
        "of_last": count.count,
        "share_95": [count.low, count.high],
        "readiness": None if one.said is None else asdict(one.said),
        "runs_missing": one.more,
        "rests_on": {"basis": one.basis, "runs": one.runs, "digs": one.digs},
        "dig_s": one.dig_s,
        "dig_is_model": one.dig_is_model,
        "search_budget_s": one.budget_s,
    }


def _trend(one: Trend) -> dict[str, Any]:
    curve = one.curve
    return {
        "drill": one.kind,
        "leg": one.leg,
        "runs": one.runs,
        "cut": one.cut,
        "latest_s": one.latest.seconds,
        "latest_cut": one.latest.cut,
        "median_s": one.middle_s,
        "curve": None
        if curve is None
        else {"first_s": curve.level, "exponent": curve.exponent, "spread": curve.spread},
        "next_s": one.next_s,
        "next_80_s": None if curve is None else list(curve.range(one.runs + 1)),
        "next_over_par": one.over_par,
    }
