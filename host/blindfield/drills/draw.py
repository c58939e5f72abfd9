"""Draws a scenario: which targets, in which order, from which start point; by seed."""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import Literal

from blindfield.drills.catalogue import Drill
from blindfield.model.errors import NotReady
from blindfield.model.field import Field, Target
from blindfield.model.scenario import Cue, EndOn, Part, Scenario, Start, WordRule

ON_US = 82_000  # inside the safe set of EN 300 718 and EN 282
PERIOD_RANGE_US = (900_000, 1_100_000)  # spread among real transceivers: common practice, no source
SECOND_SIGNAL_ELSE = 0.4  # of the time limit, when the word does not get through
OVERTIME_S = 300.0
LONGEST_S = 20 * 60.0
COMMON_PERIOD_US = 1_000_000
_WORD = 1

Pulses = Literal["own", "together", "apart"]


def draw(
    field: Field,
    drill: Drill,
    *,
    seed: int,
    time_limit_s: float,
    end_on: EndOn = "strike",
    pulses: Pulses = "own",
    alive: Sequence[str] | None = None,
) -> Scenario:
    """A scenario on `field`, the same for the same seed and targets.

    `pulses`: "own", each target its own period and phase, as real transceivers; "together", one
    period and no phase, so that the pulses of those in play coincide for the whole run; "apart",
    one period, phases spread evenly. `alive`: names of the targets that may be used (default: all
    that are buried). Raises NotReady when there are too few.
    """
    names = set(alive) if alive is not None else {target.name for target in field.targets}
    present = [target for target in field.targets if target.name in names]
    usable = [target for target in present if target.state.lies]
    if len(usable) < drill.in_play:
        raise NotReady(
            f"{drill.title!r} needs {drill.in_play} targets, the field has {len(usable)} in place.",
            remedy="Bury and switch on more, or choose another drill.",
        )
    rng = random.Random(seed)
    chosen = rng.sample([target.name for target in usable], drill.in_play)
    place = rng.choice(field.start_points)
    end_s = min(LONGEST_S, time_limit_s + OVERTIME_S)
    return Scenario(
        kind=drill.kind,
        title=drill.title,
        seed=seed,
        field=field.name,
        time_limit_s=time_limit_s,
        end_s=end_s,
        end_on=end_on,
        start=Start(place.name, place.x_m, place.y_m),
        targets=tuple(
            _part(target, chosen, drill, time_limit_s, rng, pulses) for target in present
        ),
        words=(WordRule(_WORD, "first_find"),) if drill.second == "first_find" else (),
    )


def _part(
    target: Target,
    chosen: Sequence[str],
    drill: Drill,
    time_limit_s: float,
    rng: random.Random,
    pulses: Pulses,
) -> Part:
    period_us = rng.randrange(*PERIOD_RANGE_US, 100)
    phase_us = rng.randrange(0, period_us, 100)
    in_play = target.name in chosen
    if pulses != "own" and in_play:
        period_us = COMMON_PERIOD_US
        share = chosen.index(target.name) if pulses == "apart" else 0
        phase_us = share * COMMON_PERIOD_US // len(chosen)
    return Part(
        name=target.name,
        device_id=target.device_id.hex(),
        x_m=target.x_m,
        y_m=target.y_m,
        depth_m=target.depth_m,
        in_play=in_play,
        period_us=period_us,
        on_us=ON_US,
        phase_us=phase_us,
        cues=_cues(chosen.index(target.name), drill, time_limit_s) if in_play else (),
    )


def _cues(order: int, drill: Drill, time_limit_s: float) -> tuple[Cue, ...]:
    if order == 0 or drill.second == "start":
        return (Cue("at", 0.0, True),)
    else_s = round(time_limit_s * SECOND_SIGNAL_ELSE, 1)
    return (Cue("on_word", else_s, True, _WORD, "second signal, on the first find"),)
