"""A timeline for each target: drawn over one scale of run time, and told in one list."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from blindfield.debrief import words
from blindfield.debrief.html_svg import Across, figure, legend, picture, sign, words_at
from blindfield.debrief.html_text import Html, element, joined, person, table
from blindfield.debrief.html_values import Told
from blindfield.debrief.lanes import length_s
from blindfield.debrief.picture_labels import shown_name
from blindfield.debrief.values import (
    FINDING,
    CueStory,
    Sending,
    Strike,
    TargetStory,
    Timeline,
    middle,
)
from blindfield.model.span import Span
from blindfield.scoring.steps import all_steps
from blindfield.scoring.ticks import Tick

_NAME, _HEAD, _MARKS, _BAR, _BAR_HIGH, _ROW, _BETWEEN = 16, 23, 40, 54, 12, 22, 26
_LONGEST_NAME = 16
_FLAT = "What is known to less than a few seconds is a point; a line with ends reaches from the "
_FLAT += "earliest to the latest that it can have been."


def drawn(told: Told) -> Html:
    """The figure of all lanes."""
    timeline = told.shown
    across = Across(length_s(timeline))
    lanes: list[Html] = []
    top = 0.0
    for target in _in_order(timeline):
        lane = _Lane(target, timeline, _ticks_of(told, target.name), across, top)
        lanes.append(lane.drawn())
        top = lane.bottom + _BETWEEN
    loose = [tick for tick in told.ticks if tick.target is None and tick.run_s is not None]
    if loose:
        lanes.append(words_at(0, top + _NAME, "steps of the whole run", class_="name"))
        lanes += _limits(timeline, across, top + _HEAD, top + _MARKS + 8)
        lanes += (_tick(across, tick, top + _MARKS - 4) for tick in loose)
        top += _MARKS + _BETWEEN
    under = joined([*_overtime(timeline, across, top - 8), *across.scale(0, top - 8)])
    said = "The list below tells the same in words."
    title = "When each target sent, was struck and was dug out"
    drawing = picture("lanes", title, said, top + 14, under, *lanes)
    return Html(figure(f"Run time, minutes:seconds. {_FLAT}", drawing) + _legend(told))


def _in_order(timeline: Timeline) -> list[TargetStory]:
    """As they were found, then those in play that were not, then the others."""
    found = [find.target for find in timeline.finds]
    return sorted(
        timeline.targets,
        key=lambda one: (
            found.index(one.name) if one.name in found else len(found),
            not one.in_play,
        ),
    )


def _overtime(timeline: Timeline, across: Across, bottom: float) -> Iterator[Html]:
    limit_s = timeline.time_limit_s
    if limit_s is not None and limit_s < across.length_s:
        yield across.box(limit_s, across.length_s, 0, bottom, "over")


def _limits(timeline: Timeline, across: Across, top: float, bottom: float) -> Iterator[Html]:
    """Through one lane, below its words."""
    limit_s, end = timeline.time_limit_s, timeline.end_run_s
    if limit_s is not None and limit_s < across.length_s:
        yield across.upright(limit_s, top, bottom, "limit")
    if end is not None:
        yield across.upright(middle(end), top, bottom, "end")


def _ticks_of(told: Told, name: str) -> list[Tick]:
    return [tick for tick in told.ticks if tick.target == name and tick.run_s is not None]


@dataclass(frozen=True)
class _Lane:
    target: TargetStory
    timeline: Timeline
    ticks: Sequence[Tick]
    across: Across
    top: float

    @property
    def _planned_y(self) -> float:
        return self.top + _BAR + _BAR_HIGH + 14

    @property
    def _ticks_y(self) -> float:
        return self.top + _BAR + _BAR_HIGH + 14 + (_ROW if self.target.cues else 0)

    @property
    def bottom(self) -> float:
        rows = bool(self.target.cues) + bool(self.ticks)
        return self.top + _BAR + _BAR_HIGH + rows * _ROW

    def drawn(self) -> Html:
        name = shown_name(words.called(self.target.name), _LONGEST_NAME)
        parts = [
            words_at(0, self.top + _NAME, name[0].upper() + name[1:], class_="name"),
            words_at(
                "100%", self.top + _NAME, fate_text(self.target, self.timeline), "end", "fate"
            ),
            *_limits(self.timeline, self.across, self.top + _HEAD, self.bottom + 6),
            *self._bar(),
            *self._marks(),
            *(part for cue in self.target.cues for part in self._cue(cue)),
            *(_tick(self.across, tick, self._ticks_y) for tick in self.ticks),
        ]
        return element("g", *parts)

    def _bar(self) -> Iterator[Html]:
        y, end = self.top + _BAR + _BAR_HIGH / 2, self.timeline.end_run_s
        end_s = self.across.length_s if end is None else middle(end)
        yield self.across.line(0.0, end_s, y, "rests")
        for sending in self.target.sends:
            until_s = end_s if sending.end is None else middle(sending.end)
            top = self.top + _BAR
            yield self.across.box(middle(sending.start), until_s, top, _BAR_HIGH, "sends")
        for sending in self.target.sends:
            yield from self._edges(sending, y)

    def _edges(self, sending: Sending, y: float) -> Iterator[Html]:
        yield self.across.reach(sending.start, y)
        if sending.end is not None:
            yield self.across.reach(sending.end, y)

    def _marks(self) -> Iterator[Html]:
        y = self.top + _MARKS
        for strike in self.target.strikes:
            yield self.across.reach(strike.run_s, y)
        if self.target.dug_out is not None:
            yield self.across.reach(self.target.dug_out, y)
            yield self.across.sign("dug", middle(self.target.dug_out), y)
        # What found it is drawn over what came after.
        for strike in sorted(self.target.strikes, key=lambda one: one.standing in FINDING):
            yield self.across.sign(strike_sign(strike), middle(strike.run_s), y)

    def _cue(self, cue: CueStory) -> Iterator[Html]:
        if cue.due is None:
            return
        y = self._planned_y
        if cue.happened is not None and cue.followed == "late":
            yield self.across.line(middle(cue.due), middle(cue.happened), y, "delay")
        yield self.across.reach(cue.due, y)
        yield self.across.sign("planned", middle(cue.due), y, cue.followed.replace("_", "-"))


def strike_sign(strike: Strike) -> str:
    if strike.standing not in (*FINDING, "repeat"):
        return "stray"
    return "struck" if strike.felt else "called"


def fate_text(target: TargetStory, timeline: Timeline) -> str:
    """What came of it, in a few words."""
    find = next((one for one in timeline.finds if one.target == target.name), None)
    if find is not None:
        how = "dug out" if timeline.end_on == "dug_out" else "found"
        return f"{how} {words.span_text(find.run_s)}"
    if not target.in_play:
        return "not in play"
    return "not found" if target.struck is None else "struck, not dug out"


def _tick(across: Across, tick: Tick, y: float) -> Html:
    assert tick.run_s is not None
    return across.sign("right" if tick.right else "missed", tick.run_s, y)


def _legend(told: Told) -> Html:
    timeline = told.shown
    strikes = [strike for target in timeline.targets for strike in target.strikes]
    kinds = {strike_sign(strike) for strike in strikes}
    rows: list[tuple[Html, str]] = [
        (_swatch("sends"), "sends"),
        (_swatch("rests"), "rests"),
    ]
    if "struck" in kinds:
        rows.append((sign("struck"), "strike felt by the target"))
    if "called" in kinds:
        rows.append((sign("called"), "strike called, not felt"))
    if "stray" in kinds:
        rows.append((sign("stray"), "strike that does not count"))
    if any(target.dug_out for target in timeline.targets):
        rows.append((sign("dug"), "dug out"))
    followed = {cue.followed for target in timeline.targets for cue in target.cues}
    if followed:
        rows.append((sign("planned"), "change planned"))
    if followed & {"late", "missing"}:
        rows.append((sign("planned", "late"), "planned, and late or not done"))
    if any(tick.run_s is not None for tick in told.ticks):
        rows += [(sign("right"), "step ticked right"), (sign("missed"), "step missed")]
    limit_s = timeline.time_limit_s
    if limit_s is not None and limit_s < length_s(timeline):
        rows.append((_swatch("limit"), "time limit"))
    if timeline.end_run_s is not None:
        rows.append((_swatch("end"), "end of the run"))
    return legend(rows)


def _swatch(kind: str) -> Html:
    if kind in ("limit", "end"):
        inside = element("line", x1=0, x2=0, y1=-10, y2=10, class_=kind)
    elif kind == "rests":
        inside = element("line", x1=-10, x2=10, y1=0, y2=0, class_=kind)
    else:
        inside = element("rect", x=-10, y=-6, width=20, height=12, class_=kind)
    return element("svg", inside, class_="key", viewBox="-10 -10 20 20", aria_hidden="true")


def listed(told: Told) -> Html:
    """Everything that happened, one row each, in its order."""
    rows = sorted(_rows(told), key=lambda row: row[0])
    cells = [(when, person(name) if name else "", what) for _, when, name, what in rows]
    return table("Everything in its order", ("run time", "target", "what"), cells)


_Row = tuple[float, str, str, str]


def _rows(told: Told) -> Iterator[_Row]:
    for target in told.shown.targets:
        for sending in target.sends:
            yield _row(sending.start, target.name, "began to send")
            if sending.end is not None:
                yield _row(sending.end, target.name, "fell silent")
        for strike in target.strikes:
            what = f"{words.standing_text(strike)} ({words.manner_text(strike)})"
            yield _row(strike.run_s, target.name, what)
        if target.dug_out is not None:
            yield _row(target.dug_out, target.name, "dug out")
    for tick in told.ticks:
        if tick.run_s is not None:
            when = words.whole_text(tick.run_s)  # a thumb's time: not to the tenth
            yield tick.run_s, when, tick.target or "", f"step {tick.value}: {title_of(tick)}"


def _row(span: Span, name: str, what: str) -> _Row:
    return middle(span), words.span_text(span), name, what


def title_of(tick: Tick) -> str:
    return all_steps()[tick.step].title.lower()


def planned(told: Told) -> Html:
    """What was planned for each target and what came of it; empty where nothing was."""
    rows = [
        (person(target.name), words.plan_text(cue), words.outcome_text(cue))
        for target in told.shown.targets
        for cue in target.cues
    ]
    if not rows:
        return Html("")
    return table("What was planned", ("target", "planned", "did it?"), rows)
