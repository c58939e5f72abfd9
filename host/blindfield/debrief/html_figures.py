"""Times beside par, and over the runs of one person."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime

from blindfield.debrief import words
from blindfield.debrief.html_svg import Across, figure, legend, picture, words_at
from blindfield.debrief.html_text import Html, element, joined, person, sentence, table
from blindfield.debrief.html_values import Beside, ParRow, Told
from blindfield.debrief.values import FINDING, Find, Timeline
from blindfield.scoring.attempts import Attempt
from blindfield.scoring.counts import met_of_last

_ROW, _BAR = 52.0, 14.0
_NEVER = "longer"


def splits(timeline: Timeline) -> Html:
    """The finds and the times between them."""
    digs = timeline.end_on == "dug_out"
    others = [find.struck if digs else find.dug_out for find in timeline.finds]
    last = ["struck at" if digs else "dug out at"] if any(others) else []
    rows = []
    for find, other in zip(timeline.finds, others, strict=True):
        row: list[str] = [
            joined([f"{find.number}. ", person(words.called(find.target)), _how(find, timeline)]),
            words.span_text(find.run_s),
            words.span_text(find.split_s),
        ]
        if last:
            row.append("" if other is None else words.span_text(other))
        rows.append(row)
    heads = ["target", "dug out at" if digs else "found at", "split", *last]
    return table("Each find, and the time since the one before", heads, rows, class_="times")


def _how(find: Find, timeline: Timeline) -> Html:
    target = timeline.target_named(find.target)
    strikes = () if target is None else target.strikes
    first = next((strike for strike in strikes if strike.standing in FINDING), None)
    return Html("") if first is None else element("small", words.manner_text(first))


def beside_par(beside: Beside) -> Html:
    """The run against the modelled searchers, drawn and as a table."""
    if not beside.rows:
        return element("p", sentence(beside.said))
    ends = [row.yours_s or 0.0 for row in beside.rows]
    ends += [value for row in beside.rows for value in _bounds(row) if value is not None]
    across = Across(max(1.0, *ends) * 1.04)
    parts = [part for place, row in enumerate(beside.rows) for part in _par_row(across, row, place)]
    bottom = len(beside.rows) * _ROW
    under = joined(across.scale(0, bottom))
    title = "You and the modelled searchers"
    drawing = picture(
        "par", title, "The table below holds the figures.", bottom + 22, under, *parts
    )
    heads = ("", "you", "half of them by", "nine of ten by", "faster than you")
    return Html(
        figure("Minutes:seconds. A model, not people.", drawing)
        + legend(_PAR_LEGEND)
        + table("Times beside the model", ("part", *heads[1:]), map(_cells, beside.rows))
        + element("p", beside.said, class_="said")
    )


def _bounds(row: ParRow) -> tuple[float | None, ...]:
    return row.band.low, row.band.median, row.band.high


def _par_row(across: Across, row: ParRow, place: int) -> Iterator[Html]:
    top = place * _ROW
    y = top + 27
    yield words_at(0, top + 16, row.name, class_="name")
    low, median, high = _bounds(row)
    if low is not None:
        until_s = across.length_s if high is None else high
        yield across.box(low, until_s, y, _BAR, "band")
    if median is not None:
        yield across.upright(median, y - 2, y + _BAR + 2, "median")
    if row.yours_s is not None:
        kind = "yours cut" if row.cut else "yours"
        yield across.upright(row.yours_s, y - 5, y + _BAR + 5, kind)
        yield across.sign("planned", row.yours_s, y + _BAR / 2, kind)


def _key(*parts: Html) -> Html:
    return element("svg", *parts, class_="key", viewBox="-10 -10 20 20", aria_hidden="true")


_PAR_LEGEND = (
    (_key(element("path", d="M0 -7L7 0L0 7L-7 0Z", class_="sign planned yours")), "you"),
    (_key(element("line", x1=0, x2=0, y1=-9, y2=9, class_="median")), "half of the model by"),
    (
        _key(element("rect", x=-10, y=-6, width=20, height=12, class_="band")),
        "eight of ten of the model between",
    ),
)


def _cells(row: ParRow) -> tuple[str, ...]:
    yours = "" if row.yours_s is None else words.whole_text(row.yours_s)
    if row.cut:
        yours = f"not in {yours}"
    return row.name, yours, _by(row.band.median), _by(row.band.high), row.faster


def _by(seconds: float | None) -> str:
    return _NEVER if seconds is None else words.whole_text(seconds)


def trend(told: Told) -> Html:
    """The comparable runs of this person, this one last."""
    past = told.past
    times = [one.whole.seconds for one in past if one.whole is not None]
    limit_s = told.timeline.time_limit_s
    across = Across(max(1.0, *times, limit_s or 0.0) * 1.04)
    rows = [_run_row(one, across, limit_s, this=one is past[-1]) for one in past]
    alike = f"Comparable: {_alike(past[-1])}."
    heads = ("run", "time to the last find", "result")
    drawn = table("The last comparable runs, this one last", heads, rows, class_="runs")
    return Html(
        element("p", element("strong", _counted(past))) + drawn + element("p", alike, class_="said")
    )


def _counted(past: Sequence[Attempt]) -> str:
    count = met_of_last(past, len(past))
    if not count.count:
        return "None of the comparable runs counts."
    if count.count == 1:
        return f"One comparable run so far: {'met' if count.met else 'not met'}."
    return f"Met in {count.met} of the last {count.count} comparable runs."


def _alike(one: Attempt) -> str:
    number = "one target" if one.targets == 1 else f"{one.targets} targets"
    limit = "no time limit" if one.limit_s is None else f"limit {words.whole_text(one.limit_s)}"
    known = "blind" if one.blind else "places known or problem repeated"
    return f"same person, {one.kind.replace('_', ' ')}, {one.work}, {number}, {limit}, {known}"


def _run_row(one: Attempt, across: Across, limit_s: float | None, *, this: bool) -> tuple[str, ...]:
    day = datetime.fromisoformat(one.utc).astimezone()
    when = element("time", f"{day:%Y-%m-%d}", Html(" "), f"{day:%H:%M}", datetime=one.utc)
    head = joined([when, element("strong", " this run")]) if this else when
    if one.whole is None:
        return head, "not known", result_text(one)
    kind = "time met" if one.met else "time"
    parts = [across.box(0.0, one.whole.seconds, 2, 14, f"{kind} this" if this else kind)]
    if limit_s is not None:
        parts.append(across.upright(limit_s, 0, 18, "limit"))
    bar = element("svg", *parts, class_="flow", width="100%", height=18, aria_hidden="true")
    before = "broken off at " if one.whole.cut else ""
    return head, joined([f"{before}{words.whole_text(one.whole.seconds)}", bar]), result_text(one)


def result_text(one: Attempt) -> str:
    return words.VERDICTS[one.outcome].lower()
