"""What a debrief tells of one run: values only. Times are seconds of run time (`run_s`)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from blindfield.model.run_summary import Outcome
from blindfield.model.span import Span

Standing = Literal["find", "early", "hasty", "repeat", "stray", "withdrawn", "outside", "knock"]
Manner = Literal["sharp", "push"]
EndOn = Literal["strike", "dug_out"]
Trigger = Literal["at", "on_my_strike", "on_my_dug_out", "on_word"]
Followed = Literal["as_planned", "late", "missing", "not_due"]

FINDING: tuple[Standing, ...] = ("find", "early")


@dataclass(frozen=True, kw_only=True)
class Strike:
    """One probe strike on one target.

    `standing`: find = the first on a target in play; early = the same before the target sent;
    hasty = sooner than anyone could be there, not counted; repeat = a later one; stray = on a
    target not in play; withdrawn = a person said it was none; knock = of the knock pattern;
    outside = before the start or after the end. `strength` is the sensor's 1-255, None where it is
    not known, as when the strike was called by a person and not felt.
    """

    run_s: Span
    manner: Manner | None
    strength: int | None
    standing: Standing
    felt: bool = True
    sending: bool | None = None
    corrected: str = ""


@dataclass(frozen=True)
class Sending:
    """The target's signal went from `start` to `end`; None = to the last that is known of it."""

    start: Span
    end: Span | None


@dataclass(frozen=True, kw_only=True)
class CueStory:
    """What was planned for a target and what came of it.

    `due` is when it should have happened, None when its trigger never came; `happened` when it
    did. `seconds` is the planned time of `at`, the delay after a strike or dug-out, or the time
    at which an `on_word` cue goes ahead without the word (None: never).
    """

    trigger: Trigger
    seconds: float | None
    word: int | None
    sends: bool
    because: str
    due: Span | None
    happened: Span | None
    followed: Followed


@dataclass(frozen=True, kw_only=True)
class TargetStory:
    name: str
    x_m: float
    y_m: float
    depth_m: float
    in_play: bool
    sends: tuple[Sending, ...] = ()
    strikes: tuple[Strike, ...] = ()
    dug_out: Span | None = None
    cues: tuple[CueStory, ...] = ()

    @property
    def struck(self) -> Span | None:
        """The strike that counted."""
        return next((one.run_s for one in self.strikes if one.standing in FINDING), None)


@dataclass(frozen=True, kw_only=True)
class Find:
    """A target counted as found at `run_s`: its strike, or its being dug out where that ends it.

    `split_s`: seconds from the find before (from the start for the first).
    """

    number: int
    target: str
    run_s: Span
    split_s: Span
    struck: Span | None
    dug_out: Span | None


@dataclass(frozen=True, kw_only=True)
class Flag:
    """Something to know about the run: `kind` names a sentence in `words`, `data` fills it."""

    kind: str
    target: str | None = None
    run_s: Span | None = None
    seconds: float | None = None
    text: str = ""


@dataclass(frozen=True, kw_only=True)
class Start:
    name: str
    x_m: float
    y_m: float


@dataclass(frozen=True, kw_only=True)
class About:
    """What the problem was meant for, by whom it was walked, how it was drawn."""

    work: str = "search only"
    searcher: str = ""
    knows_places: bool = False
    purpose: str = ""
    watch: str = ""
    aids: tuple[str, ...] = ()
    why: tuple[str, ...] = ()

    @property
    def digs_only(self) -> bool:
        return self.work == "dig only"


@dataclass(frozen=True, kw_only=True)
class Timeline:
    """One run, told. `outcome` is None while the run is open: then nothing of it may be shown.

    `started` is False when the devices never began. `end_run_s` is when the run ended, None when
    that cannot be told. `summary_found`: finds counted at the close, None when nothing was counted.
    """

    run_id: bytes
    field_name: str
    kind: str
    title: str
    seed: int | None
    start: Start | None
    end_on: EndOn
    time_limit_s: float | None
    outcome: Outcome | None
    reason: str
    stopped_by: str
    standard: str | None
    started: bool
    started_utc: str | None
    end_run_s: Span | None
    targets: tuple[TargetStory, ...]
    finds: tuple[Find, ...]
    flags: tuple[Flag, ...]
    about: About
    summary_found: int | None

    @property
    def to_find(self) -> int:
        """How many targets were in play; one pack where nothing was done but digging."""
        return 1 if self.about.digs_only else sum(target.in_play for target in self.targets)

    @property
    def found_in_time(self) -> int:
        """Finds within the limit; one without a best time is taken at its latest."""
        limit_s = self.time_limit_s
        moments = [find.run_s for find in self.finds]
        latest = [span.high if span.best is None else span.best for span in moments]
        return sum(limit_s is None or run_s <= limit_s for run_s in latest)

    @property
    def overtime_s(self) -> float | None:
        """Seconds that the run went on after its limit, None when it did not."""
        if self.end_run_s is None or self.time_limit_s is None:
            return None
        over_s = middle(self.end_run_s) - self.time_limit_s
        return over_s if over_s > 0 else None

    def target_named(self, name: str) -> TargetStory | None:
        return next((target for target in self.targets if target.name == name), None)


def middle(span: Span) -> float:
    """The most likely moment, for placing and ordering, never for printing."""
    return (span.low + span.high) / 2 if span.best is None else span.best
