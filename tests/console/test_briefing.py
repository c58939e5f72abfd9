"""What a searcher is told before the start."""

from __future__ import annotations

from dataclasses import replace

import pytest

from blindfield.console.briefing import before_the_start
from blindfield.drills.catalogue import DRILLS, drill_named
from blindfield.drills.draw import draw
from blindfield.model.scenario import Scenario
from support.drill_fields import wide_field


def drawn(kind: str, seed: int = 1) -> Scenario:
    return draw(wide_field(), drill_named(kind), seed=seed, time_limit_s=600.0)


@pytest.mark.parametrize(
    ("direction_deg", "words"),
    [
        (0.0, "First steps straight up the field: drawn by lot, no hint."),
        (
            30.0,
            "First steps towards 1 o'clock, with 12 straight up the field: drawn by lot, no hint.",
        ),
        (
            300.0,
            "First steps towards 10 o'clock, with 12 straight up the field: drawn by lot, no hint.",
        ),
        (346.0, "First steps straight up the field: drawn by lot, no hint."),
        (180.0, "First steps straight down the field: drawn by lot, no hint."),
        (None, "up the field from it."),
    ],
)
def test_first_steps_are_said_as_somebody_sees_them_who_looks_up_the_field(
    direction_deg: float | None, words: str
) -> None:
    told = before_the_start(replace(drawn("pair"), direction_deg=direction_deg), 10.0)
    assert told[0].endswith(words)


def test_marking_that_is_declared_unusable_is_said_and_nothing_else_tells_the_kind() -> None:
    told = {
        kind: [*before_the_start(drawn(kind), 10.0)[1:]] for kind in DRILLS if kind != "dig_only"
    }
    assert any("Marking is declared unusable" in line for line in told["close_pair_no_marking"])
    assert told["one_only"] == told["not_told"]
    plain = ("single", "pair", "staggered", "surprise", "drop_out", "overlap", "three", "deep")
    assert len({tuple(told[kind]) for kind in (*plain, "late_first", "close_pair")}) == 1


def test_a_dig_needs_no_search() -> None:
    told = " ".join(before_the_start(drawn("dig_only"), 10.0))
    assert "tell done" in told
    assert "First steps" not in told
    assert "SEARCH" not in told


def test_what_counts_when_it_is_dug_is_said() -> None:
    scenario = draw(wide_field(), drill_named("pair"), seed=1, time_limit_s=600.0, end_on="dug_out")
    assert "when it is dug out" in before_the_start(scenario, 10.0)[1]
