"""How far a searcher hears a target, as walked: readings, their mean and spread, the search strip.

A pass is a walk away from the target, to where its signal is lost, and back, to where it is found
again; both are readings of the range. The target's antenna points along the tape, and the
transceiver is held so that the signal is strongest: the formula wants the coaxial range.
"""

from __future__ import annotations

import math
import statistics
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from blindfield.model.errors import ConfigError
from blindfield.model.events import Event
from blindfield.physics.receiver import STRIP_WIDTH_FACTOR, strip_width_m

LEAST_PASSES = 3
RANGE_LIMITS_M = (1.0, 104.0)  # the near field ends at lambda / 2 pi = 104 m; [derived]
SPREAD_LIMIT = 0.25  # of the mean: then the spread alone takes half of the width away; ours
TAUGHT_STRIPS_M = (40.0, 20.0)  # both are taught (seen in the source)
LONGEST_NAME = 60
AGAIN = "."


@dataclass(frozen=True)
class Pass:
    """One walk away and back: where the signal was lost, and where it was found again, metres."""

    lost_m: float
    found_m: float


@dataclass(frozen=True, kw_only=True)
class ReceiveRange:
    """What the walks gave. `strip_width_m` is None where the spread leaves no width at all;
    `strip_sigma_m` is its standard error."""

    searcher: str
    transceiver: str
    passes: tuple[Pass, ...]
    mean_m: float
    sigma_m: float
    strip_width_m: float | None
    strip_sigma_m: float

    @property
    def ranges_m(self) -> tuple[float, ...]:
        """Every reading, in the order of walking."""
        return tuple(value for one in self.passes for value in (one.lost_m, one.found_m))

    @property
    def farthest_m(self) -> float:
        return max(self.ranges_m)

    @property
    def doubt(self) -> str:
        """Why the width says little; empty when it holds."""
        if self.strip_width_m is None:
            return "the spread is so large that no search strip is left"
        if self.sigma_m > SPREAD_LIMIT * self.mean_m:
            return "the readings differ so much that the width means little"
        return ""


def receive_range(searcher: str, transceiver: str, passes: Sequence[Pass]) -> ReceiveRange:
    """Mean and standard deviation (n - 1) of all readings, and the strip width they give.

    The width's standard error takes the readings for independent and normal:
    1.26 sigma sqrt(1/n + 4/(2(n - 1))), from the errors of a mean and of a standard deviation
    [derived]. Raises ConfigError for fewer than three passes.
    """
    if len(passes) < LEAST_PASSES:
        raise ConfigError(
            f"too few passes ({len(passes)}): a spread needs {LEAST_PASSES} at least.",
            remedy="Walk away and back again.",
        )
    readings = [value for one in passes for value in (one.lost_m, one.found_m)]
    mean_m, sigma_m = statistics.fmean(readings), statistics.stdev(readings)
    count = len(readings)
    try:
        width_m: float | None = strip_width_m(mean_m, sigma_m)
    except ValueError:
        width_m = None
    return ReceiveRange(
        searcher=a_name(searcher, "searcher"),
        transceiver=a_name(transceiver, "transceiver"),
        passes=tuple(passes),
        mean_m=mean_m,
        sigma_m=sigma_m,
        strip_width_m=width_m,
        strip_sigma_m=STRIP_WIDTH_FACTOR * sigma_m * math.sqrt(1 / count + 2 / (count - 1)),
    )


def a_name(text: str, of: str) -> str:
    """The name as it is kept: composed (NFC), spaces trimmed. Raises ConfigError."""
    name = " ".join(unicodedata.normalize("NFC", text).split())
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise ConfigError(
            f"{text!r} is no name of a {of}.",
            remedy=f"1 to {LONGEST_NAME} letters of any script, no control characters.",
        )
    return name


def read_metres(text: str, before_m: float | None = None) -> float:
    """One reading along the tape, with point or comma; "." repeats `before_m`.

    Raises ConfigError for words, and for what no transceiver does.
    """
    if text.strip() == AGAIN:
        if before_m is None:
            raise ConfigError('"." repeats the reading before, and there is none yet.')
        return before_m
    try:
        value_m = float(text.strip().removesuffix("m").replace(",", "."))
    except ValueError:
        raise ConfigError(
            f'"{text}" is no length.', remedy="Type metres along the tape, such as 42.5."
        ) from None
    low_m, high_m = RANGE_LIMITS_M
    if not low_m <= value_m <= high_m:  # false for nan too
        raise ConfigError(
            f"{value_m:g} m is no receive range.",
            remedy=f"From {low_m:g} m to {high_m:g} m along the tape.",
        )
    return value_m


def read_pass(text: str, before: Pass | None = None) -> Pass:
    """A whole pass, `LOST/FOUND` or the two with a space between. Raises ConfigError."""
    parts = text.replace("/", " ").split()
    if len(parts) == 1 and parts[0] == AGAIN and before is not None:
        return before
    if len(parts) != 2:
        raise ConfigError(
            f'"{text}" is no pass.',
            remedy="Two readings: where the signal was lost, where it was found, such as 42/38.",
        )
    lost_m = read_metres(parts[0], before.lost_m if before else None)
    return Pass(lost_m, read_metres(parts[1], before.found_m if before else None))


def event_data(found: ReceiveRange, *, field: str, target: str | None) -> dict[str, Any]:
    """What the logbook keeps of it (kind receive_range)."""
    data: dict[str, Any] = {
        "searcher": found.searcher,
        "transceiver": found.transceiver,
        "ranges_m": list(found.ranges_m),
        "mean_m": found.mean_m,
        "sigma_m": found.sigma_m,
        "field": field,
    }
    return data if target is None else {**data, "device": target}


@dataclass(frozen=True)
class Earlier:
    """A range test as the logbook has it."""

    utc: str
    found: ReceiveRange


def earlier(events: Sequence[Event]) -> list[Earlier]:
    """The range tests among `events`, oldest first; what a newer program wrote otherwise is passed
    over."""
    tests = []
    for event in events:
        values = event.data.get("ranges_m", ())
        if event.kind != "receive_range" or len(values) % 2:
            continue
        passes = [Pass(*values[at : at + 2]) for at in range(0, len(values), 2)]
        names = (event.data.get("searcher", ""), event.data.get("transceiver", ""))
        try:
            tests.append(Earlier(event.utc, receive_range(*names, passes)))
        except ConfigError:
            pass
    return tests


def newest(tests: Sequence[Earlier]) -> dict[tuple[str, str], Earlier]:
    """(searcher, transceiver) -> the last test of the two together; capitals do not count."""
    return {(t.found.searcher.casefold(), t.found.transceiver.casefold()): t for t in tests}
