"""Is the field fit for a start? Refuses with the reason and the remedy."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from blindfield.model.errors import NotReady
from blindfield.model.scenario import Scenario

if TYPE_CHECKING:
    from blindfield.conduct.conductor import Conductor

BATTERY_LOW_V = (
    2.2  # two lithium AA cells: flat discharge, a poor gauge [S]; the device stops at 2.0
)
BATTERY_SOON_V = 2.6
CLOCK_WIDTH_S = 0.05  # tenths of a second are what users need
CLOCK_AGE_S = 120.0


async def check_field(conductor: Conductor, scenario: Scenario) -> str:
    """One sentence on what was found. Raises NotReady for the first thing that forbids a start.

    Every target alive is checked alike, so that a refusal says nothing of who is in play.
    """
    for name in sorted(conductor.crew.twins):
        raise NotReady(f"two devices answer as {name}.", remedy="Switch one of them off.")
    now_s = asyncio.get_running_loop().time()
    lowest_v, lowest = 99.0, ""
    widths_s = (getattr(m, "clock_width_s", CLOCK_WIDTH_S) for m in conductor.media)
    widest_s = max(widths_s, default=CLOCK_WIDTH_S)
    for member in conductor.crew.targets:
        status = await member.client.status()
        battery_v = status["battery_mv"] / 1000
        lowest_v, lowest = min((lowest_v, lowest), (battery_v, member.name))
        if battery_v < BATTERY_LOW_V:
            raise NotReady(
                f"its battery is at {battery_v:.2f} V.",
                device=member.name,
                remedy="Change its cells, or switch it off to leave it out.",
            )
        clock = member.client.clock
        if clock.width_s > widest_s or clock.age_s(now_s) > CLOCK_AGE_S:
            raise NotReady(
                f"its clock is known to {clock.width_s:.3f} s only.",
                device=member.name,
                remedy="Check its link; try again.",
            )
    bound_s = silence_bound_s(conductor, scenario)
    await conductor.recorder.say(
        "checked", passed=True, silence_bound_s=bound_s, battery_mv=round(lowest_v * 1000)
    )
    if not conductor.crew.targets:
        return "No target answers."  # a run that is only for digging needs none
    return (
        f"{len(conductor.crew.targets)} targets answer, lowest battery {lowest_v:.2f} V ({lowest}"
        f"{', change its cells soon' if lowest_v < BATTERY_SOON_V else ''}). "
        f"A target out of reach falls silent by itself after {bound_s / 60:.1f} min at the latest."
    )


def silence_bound_s(conductor: Conductor, scenario: Scenario) -> float:
    """The longest time for which a target of this field could not be silenced, seconds."""
    lease_s = conductor.place.lease_s
    return scenario.end_s if lease_s is None else min(scenario.end_s, lease_s)
