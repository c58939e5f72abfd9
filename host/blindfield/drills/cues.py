"""What each target in play does when: the moments drawn for a run, and the cues made of them."""

from __future__ import annotations

import random
from dataclasses import dataclass

from blindfield.drills.drill import Drill, Shares
from blindfield.model.scenario import Cue

_BECAUSE = {"first find": "second signal, on the first find", "word": "second signal, a surprise"}


@dataclass(frozen=True)
class Times:
    """Run times in seconds; None where the drill has no such moment."""

    first_s: float = 0.0
    second_s: float | None = None
    out_s: float | None = None
    back_s: float | None = None
    word: int = 1


def times_of(drill: Drill, time_limit_s: float, rng: random.Random) -> Times:
    """The moments of one run, each drawn evenly from the drill's shares of the time limit."""

    def drawn(shares: Shares | None) -> float | None:
        return None if shares is None else round(time_limit_s * rng.uniform(*shares), 1)

    first_s, second_s = drawn(drill.first_at_share), drawn(drill.second_at_share)
    out_s, out_for_s = drawn(drill.out_at_share), drawn(drill.out_for_share)
    back_s = None if out_s is None or out_for_s is None else round(out_s + out_for_s, 1)
    return Times(first_s or 0.0, second_s, out_s, back_s)


def cues_of(drill: Drill, order: int, times: Times, *, struck_rests: bool) -> tuple[Cue, ...]:
    """The cues of the target that is number `order` (from 0) of those in play."""
    begins = Cue("at", times.first_s, True)
    if times.first_s:
        begins = Cue("at", times.first_s, True, because="the first signal is late")
    if order > 0 and drill.needs_word:
        begins = Cue("on_word", times.second_s, True, times.word, _BECAUSE[drill.second])
    cues = [begins]
    if times.out_s is not None:
        cues.append(Cue("at", times.out_s, False, because="the signal drops out"))
        cues.append(Cue("at", times.back_s, True, because="the signal comes back"))
    if struck_rests:
        cues.append(Cue("on_my_strike", 0.0, False, because="a struck target rests: an aid"))
    return tuple(cues)
