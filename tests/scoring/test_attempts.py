"""What an attempt says by itself."""

from __future__ import annotations

import pytest

from blindfield.scoring.attempts import Timed
from support.attempts import attempt


@pytest.mark.parametrize(
    ("legs", "search"),
    [
        ((Timed(100.0), Timed(50.0)), Timed(150.0)),
        ((Timed(100.0), Timed(50.0, cut=True)), Timed(150.0, cut=True)),
        ((Timed(100.0, cut=True),), Timed(100.0, cut=True)),
        ((Timed(100.0),), None),
        ((None, Timed(50.0)), None),
        ((), None),
    ],
)
def test_the_search_is_all_legs_or_nothing(
    legs: tuple[Timed | None, ...], search: Timed | None
) -> None:
    assert attempt(1, legs=legs).search == search


@pytest.mark.parametrize(
    ("changes", "blind"),
    [({}, True), ({"knows_places": True}, False), ({"repeated": True}, False)],
)
def test_blind_is_neither_knowing_nor_met_before(changes: dict[str, bool], blind: bool) -> None:
    assert attempt(1, **changes).blind is blind


@pytest.mark.parametrize(
    ("outcome", "judged", "met"),
    [
        ("met", True, True),
        ("not_met", True, False),
        ("stopped", True, False),
        ("interrupted", False, False),
        ("void", False, False),
    ],
)
def test_which_outcomes_judge(outcome: str, judged: bool, met: bool) -> None:
    one = attempt(1, outcome=outcome)
    assert (one.judged, one.met) == (judged, met)
