"""What one target does that sends by itself, outside any run, and how such sending surely ends."""

from __future__ import annotations

from blindfield.drills.draw import COMMON_PERIOD_US, LONGEST_S, ON_US
from blindfield.model.field import Field, Target
from blindfield.model.scenario import Cue, Part, Scenario, Start


def alone(place: Field, target: Target) -> Scenario:
    """One target that sends at once, and rests when it is dug out."""
    part = Part(
        name=target.name,
        device_id=target.device_id.hex(),
        x_m=target.x_m,
        y_m=target.y_m,
        depth_m=target.depth_m,
        in_play=True,
        period_us=COMMON_PERIOD_US,
        on_us=ON_US,
        phase_us=0,
        cues=(Cue("at", 0.0, True), Cue("on_my_dug_out", 0.0, False)),
    )
    return Scenario(
        kind="",
        title="",
        seed=0,
        field=place.name,
        time_limit_s=LONGEST_S,
        end_s=LONGEST_S,
        end_on="dug_out",
        start=Start("", target.x_m, target.y_m),
        targets=(part,),
    )
