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
        lines[0] += f" First steps {_way(scenario.direction_deg)}: drawn by lot, no hint."
    if scenario.briefing:
        lines.append(scenario.briefing)
    if scenario.standard:
        lines.append(f"Standard: {scenario.standard}.")
    limit = f"The time limit is {scenario.time_limit_s / 60:g} min"
    begins = f"The clock begins in {countdown_s:.0f} s."
    if scenario.work == "dig only":
        return [*lines, f"{limit}. {begins}"]
    if not scenario.clock_shown:
        lines.append("No clock: do each step right; stop, back up and do it again where it is not.")
        return [*lines, f"Go there. Transceiver to SEARCH at the start. {begins}"]
    more_min = (scenario.end_s - scenario.time_limit_s) / 60
    lines.append(f"{limit}; signals go on for up to {more_min:g} min more, so that you can finish.")
    return [*lines, f"Go there. Transceiver to SEARCH at the start. {begins}"]


def _metres(scenario: Scenario) -> str:
    x_m, y_m = scenario.start.x_m, scenario.start.y_m
    return f"{x_m:g} m along the base line from peg A, {y_m:g} m up the field from it"


def _way(direction_deg: float) -> str:
    """As the hand of a clock that lies on the field, twelve up the field (along y)."""
    hour = round((direction_deg % 360.0) / 30.0) % 12 or 12
    if hour == 12:
        return "straight up the field"
    if hour == 6:
        return "straight down the field"
    return f"towards {hour} o'clock, with 12 straight up the field"
