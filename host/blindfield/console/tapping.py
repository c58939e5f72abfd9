"""Lining up a recording of called distances: Enter at each change of phase, from the start horn."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from time import monotonic as monotonic_s
from typing import Any

from blindfield.console.ask import confirmed
from blindfield.console.closed_run import ClosedRun
from blindfield.debrief.performance import strikes_in
from blindfield.debrief.words import whole_text
from blindfield.model.errors import ConfigError, NotReady
from blindfield.scoring.ticks import PHASE_BEGUN

STRIKE = "strike"
CHANGES = (
    ("coarse search", "the first distance is called"),
    ("fine search", "the transceiver goes down to the snow"),
    ("pinpointing", "the probe goes in for the first time"),
    (STRIKE, "the strike is called"),
)
FAR_OFF_S = 10.0
"""Taps of strikes further than this from what the targets felt: the recording was lined up wrongly
or ran at another speed. Ours."""

HELP = "Enter: now. - and Enter: not heard, go on. u and Enter: take the last one back. q: end."


@dataclass(frozen=True)
class Tap:
    leg: int
    phase: str
    run_s: float


def tap_phases(legs: int, read: Callable[[str], str], now_s: Callable[[], float]) -> list[Tap]:
    """What was tapped, in order. `read` asks a question and gives the line typed; it raises
    EOFError at the end of input, which ends it like q."""
    places = [(leg, phase, look) for leg in range(1, legs + 1) for phase, look in CHANGES]
    taps: list[tuple[int, Tap]] = []
    at = 0
    try:
        read("Play the recording. Enter at the start horn: ")
        zero_s = now_s()
        while at < len(places):
            leg, phase, look = places[at]
            typed = read(f"{leg}. {phase}, when {look}: ").strip().lower()
            if typed == "q":
                break
            if typed == "u":
                at = taps.pop()[0] if taps else at
                continue
            if typed == "":
                taps.append((at, Tap(leg, phase, now_s() - zero_s)))
            at += 1
    except EOFError:
        pass
    return [tap for _, tap in taps]


def tap_along(here: ClosedRun, by: Mapping[str, Any]) -> Iterator[str]:
    """Asks at the terminal, keeps what was tapped, and tells it. Raises NotReady."""
    if not sys.stdin.isatty():
        raise NotReady("nobody can press Enter here.", remedy="Run it in a terminal.")
    legs = here.timeline.to_find
    if legs < 1 or not here.timeline.started or here.timeline.about.digs_only:
        raise NotReady("nothing was searched for in that run.", remedy="Name another with --run.")
    print(HELP)
    taps = tap_phases(legs, input, monotonic_s)
    if not taps:
        raise ConfigError("nothing was tapped, so nothing is kept.")
    off = offsets_s(taps, [one.run_s for one in strikes_in(here.timeline)])
    if off:
        yield offset_text(off)
    if any(abs(one) > FAR_OFF_S for one in off) and not confirmed(
        "That is far off: was Enter pressed at the horn, and the speed right? Keep it (y/n)? "
    ):
        yield "Nothing is kept."
        return
    here.keep([_event_data(tap, by) for tap in taps], "tick")
    yield from splits(taps)


def _event_data(tap: Tap, by: Mapping[str, Any]) -> dict[str, Any]:
    return {
        **by,
        "step": PHASE_BEGUN,
        "value": {"leg": tap.leg, "phase": tap.phase},
        "run_s": round(tap.run_s, 2),
        "means": "recording",
    }


def offsets_s(taps: Sequence[Tap], strikes_s: Sequence[float]) -> list[float]:
    """Tapped less felt, of each strike that was both."""
    return [
        tap.run_s - strikes_s[tap.leg - 1]
        for tap in taps
        if tap.phase == STRIKE and tap.leg <= len(strikes_s)
    ]


def offset_text(off: Sequence[float]) -> str:
    each = ", ".join(f"{one:+.1f} s" for one in off)
    return f"Your taps of the strikes lie {each} from what the targets felt."


def splits(taps: Sequence[Tap]) -> Iterator[str]:
    """From each phase to the next one tapped."""
    for before, after in pairwise(taps):
        if before.phase != STRIKE:
            took = whole_text(after.run_s - before.run_s)
            yield f"{before.leg}. {before.phase:<14} {took} (from {whole_text(before.run_s)})"
    for tap in taps:
        if tap.phase == STRIKE:
            yield f"{tap.leg}. {STRIKE:<14} at {whole_text(tap.run_s)}"
