"""From runs of a logbook to legs: what is compared with the model and what is left out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from blindfield.console.own_legs import own_legs, walked
from blindfield.logbook.book import Logbook
from blindfield.model.events import Event
from blindfield.model.span import Span
from support.par_field import ParField

Leg = tuple[int, int, bool]


@pytest.fixture
def bench(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> ParField:
    return ParField(tmp_path, capsys)


def test_the_legs_of_a_logbook(bench: ParField) -> None:
    bench.run_made([100.0, 200.0], number=1)
    bench.run_made([50.0, 60.0], number=2, outcome="void")
    bench.run_made([], number=3, broken_off_s=300.0, outcome="stopped")
    place = bench.place()
    with Logbook.open(place.logbook_path, field_key=None) as book:
        legs, left_out = own_legs(book, place)
    assert left_out == 0
    assert [(leg.leg, round(leg.seconds), leg.censored) for leg in legs] == [
        (1, 100, False),
        (2, 200, False),
        (1, 300, True),
    ]


def legs_told(bench: ParField, run: str, change: Callable[[Event], Event | None]) -> list[Leg]:
    """(leg, seconds, broken off) of the run when its events are changed or left away so."""
    place = bench.place()
    with Logbook.open(place.logbook_path, field_key=None) as book:
        record = book.find_run(run)
        events = [change(event) for event in book.events_of(record.run_id)]
    made = walked(record, [event for event in events if event is not None], place)
    return [(leg.leg, round(leg.seconds), leg.censored) for leg in made.legs]


def test_a_target_struck_before_it_sent_was_found_by_chance(bench: ParField) -> None:
    run = bench.run_made([100.0, 200.0])
    both = legs_told(bench, run, lambda event: event)
    assert both == [(1, 100, False), (2, 200, False)]
    assert legs_told(bench, run, lambda event: None if event.kind == "sends" else event) == []


def test_a_strike_not_felt_leaves_its_leg_out(bench: ParField) -> None:
    run = bench.run_made([100.0, 150.0], digs_s=[310.0, 250.0])
    unfelt = legs_told(bench, run, without_first("strike"))
    assert unfelt == [(2, 150, False)]


def test_digging_that_went_on_beside_leaves_the_leg_out(bench: ParField) -> None:
    run = bench.run_made([100.0, 150.0], digs_s=[310.0, 250.0])
    beside = legs_told(bench, run, later_first("dug_out", 500.0))
    assert beside == [(1, 100, False)]


def test_a_target_struck_and_not_dug_out_ends_its_leg_at_the_strike(bench: ParField) -> None:
    run = bench.run_made([100.0, 150.0], digs_s=[310.0], broken_off_s=90.0, outcome="not_met")
    assert legs_told(bench, run, lambda event: event) == [(1, 100, False), (2, 150, False)]
    alone = bench.run_made([100.0], number=2, digs_s=[310.0], broken_off_s=90.0, outcome="not_met")
    assert legs_told(bench, alone, lambda event: event) == [(1, 100, False), (2, 90, True)]
    undug = legs_told(bench, alone, without_first("dug_out"))
    assert undug == [(1, 100, False)]  # then they dug, and searched no more


def without_first(kind: str) -> Callable[[Event], Event | None]:
    return changed_first(kind, lambda event: None)


def later_first(kind: str, seconds: float) -> Callable[[Event], Event | None]:
    def move(event: Event) -> Event:
        assert event.host_s is not None
        assert event.host_s.best is not None
        best = event.host_s.best + seconds
        return replace(event, host_s=Span(best, best, best))

    return changed_first(kind, move)


def changed_first(
    kind: str, change: Callable[[Event], Event | None]
) -> Callable[[Event], Event | None]:
    seen: list[Event] = []

    def once(event: Event) -> Event | None:
        if event.kind != kind or seen:
            return event
        seen.append(event)
        return change(event)

    return once
