"""What a searcher is told before the start: where, how long, what counts; no more."""

from __future__ import annotations

from blindfield.model.scenario import Scenario

_COUNTS = {
    "search only": "Search only: a target counts as found at the probe strike.",
    "search and dig": "Search and dig: a target counts as found when it is dug out.",
    "dig only": "Dig only: it counts when the pack is out and somebody says done.",
}


def before_the_start(scenario: Scenario, countdown_s: float) -> list[str]:
    """Lines for the screen."""
    lines = [f"Start at {scenario.start.name}: {_metres(scenario)}.", _COUNTS[scenario.work]]
    if scenario.direction_deg is not None and scenario.work != "dig only":
        lines[0] += f" {_way(scenario.direction_deg)}"
    if scenario.briefing:
        lines.append(scenario.briefing)
    limit = f"The time limit is {scenario.time_limit_s / 60:g} min"
    begins = f"The clock begins in {countdown_s:.0f} s."
    if scenario.work == "dig only":
        return [*lines, f"{limit}. {begins}"]
    more_min = (scenario.end_s - scenario.time_limit_s) / 60
    lines.append(f"{limit}; signals go on for up to {more_min:g} min more, so that you can finish.")
    return [*lines, f"Go there. Transceiver to SEARCH at the start. {begins}"]


def _metres(scenario: Scenario) -> str:
    x_m, y_m = scenario.start.x_m, scenario.start.y_m
    return f"{x_m:g} m along the base line from the first peg, {y_m:g} m up from it"


def _way(direction_deg: float) -> str:
    """First steps, from the y axis clockwise, as somebody sees it who looks up the field."""
    turn_deg = (direction_deg + 180.0) % 360.0 - 180.0
    if turn_deg == 0.0:
        return "First steps straight up the field."
    if turn_deg == -180.0:
        return "First steps straight down the field."
    side = "right" if turn_deg > 0 else "left"
    return f"First steps {abs(turn_deg):g} degrees to the {side} of straight up the field."
