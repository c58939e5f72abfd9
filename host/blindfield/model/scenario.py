"""One concrete draw of a drill: which targets, when, from which start point. Values only."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

EARLY_S = 5.0
"""Nobody walks to a buried target faster than this after the start: a strike before is flagged."""

KNOCKING_S = 5.0
"""The knock pattern takes no longer, up to its being recognised: what the target's sensor felt as
strikes so shortly before were the knocks."""

Trigger = Literal["at", "on_my_strike", "on_my_dug_out", "on_word"]
EndOn = Literal["strike", "dug_out"]
WordWhen = Literal["first_find", "instructor"]
Work = Literal["search only", "search and dig", "dig only"]
Until = Literal["found", "done"]


@dataclass(frozen=True)
class Cue:
    """One triggered action. `time_s`: run time of an `at`, the delay after a strike or dug-out
    event, or the else of an `on_word` (None: else never). `because` is told in the debrief."""

    trigger: Trigger
    time_s: float | None
    sends: bool
    word: int = 0
    because: str = ""


@dataclass(frozen=True)
class Part:
    """What one target does in the scenario; one that is not in play has no cue that sends."""

    name: str
    device_id: str  # 16 hex digits
    x_m: float
    y_m: float
    depth_m: float
    in_play: bool
    period_us: int
    on_us: int
    phase_us: int
    cues: tuple[Cue, ...] = ()


@dataclass(frozen=True)
class Start:
    name: str
    x_m: float
    y_m: float


@dataclass(frozen=True)
class WordRule:
    """When the conductor gives a word that `on_word` cues wait for."""

    word: int
    when: WordWhen


@dataclass(frozen=True)
class Scenario:
    """`targets` holds every target alive, in play or not. Times in seconds of run time.

    `until` "done": the run goes on after the last find, until a person says that the work is done.
    `told`: whether the searcher is told how many send; `marking`: whether the transceiver's
    marking may be used; `briefing`: what the searcher is told before the start. `direction_deg`:
    where the first steps lead, clockwise from the y axis. `why` (how the draw came to this),
    `purpose`, `watch` are for after the run. `standard`: the name of what it will be judged by;
    `clock_shown`: whether the searcher may see time pass (not where technique is all that counts).
    """

    kind: str
    title: str
    seed: int
    field: str
    time_limit_s: float
    end_s: float
    end_on: EndOn
    start: Start
    targets: tuple[Part, ...]
    words: tuple[WordRule, ...] = ()
    work: Work = "search only"
    until: Until = "found"
    told: bool = True
    marking: bool = True
    aids: tuple[str, ...] = ()
    direction_deg: float | None = None
    briefing: str = ""
    purpose: str = ""
    watch: str = ""
    searcher: str = ""
    knows_places: bool = False
    standard: str = ""
    clock_shown: bool = True
    why: tuple[str, ...] = ()

    def part(self, name: str) -> Part | None:
        """The part of the target so named."""
        return next((part for part in self.targets if part.name == name), None)

    @property
    def in_play(self) -> tuple[Part, ...]:
        return tuple(part for part in self.targets if part.in_play)

    def to_json(self) -> dict[str, Any]:
        """Plain JSON values; `scenario_from_json` is the inverse."""
        return asdict(self)


def scenario_from_json(data: dict[str, Any]) -> Scenario:
    """The inverse of `Scenario.to_json`; also of what earlier versions wrote.

    Raises KeyError or TypeError for anything else.
    """
    targets = tuple(
        Part(**{**part, "cues": tuple(Cue(**cue) for cue in part["cues"])})
        for part in data["targets"]
    )
    words = tuple(WordRule(**rule) for rule in data["words"])
    values = {**data, "start": Start(**data["start"]), "targets": targets, "words": words}
    values |= {name: tuple(data[name]) for name in ("aids", "why") if name in data}
    if "work" not in data and data.get("end_on") == "dug_out":
        values["work"] = "search and dig"
    return Scenario(**values)
