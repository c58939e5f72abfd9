"""A device's clock over the air: the truth lies within what is said, and the best is near it."""

from __future__ import annotations

import pytest

pytest.importorskip("bumble")

from blindfield.links.ble_medium import BleMedium
from blindfield.links.virtual_time import run_virtual
from support.ble_clock import EVENTS, known_after_a_run


@pytest.mark.parametrize("ppm", [-50.0, 50.0])
def test_the_truth_lies_within_what_is_said_and_the_best_is_near(ppm: float) -> None:
    known = run_virtual(known_after_a_run(ppm))
    assert len(known.errors_s) == EVENTS
    assert known.inside >= 0.99 * EVENTS
    assert sorted(map(abs, known.errors_s))[int(0.95 * EVENTS)] <= 0.010
    assert known.width_s < BleMedium.clock_width_s  # or no run could begin
