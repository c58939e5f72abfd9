"""The debrief of one run as a page of its own: a file that opens offline and prints."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterator
from datetime import datetime
from functools import cache
from hashlib import sha256
from pathlib import Path
from string import Template

from blindfield.debrief import html_figures, html_lanes, html_plan, html_steps, html_trace, words
from blindfield.debrief.html_text import (
    Html,
    bullets,
    element,
    escaped,
    joined,
    person,
    section,
    sentence,
)
from blindfield.debrief.html_values import Told
from blindfield.debrief.values import Timeline
from blindfield.model.errors import NotReady
from blindfield.model.ids import run_id_text

MADE_BY = "blindfield, a debrief"
FOLDER = Path(__file__).parent
_SIGNS = {"met": "right", "not_met": "missed"}

Part = tuple[str, str, Html]
"""Its name, by which it is linked, its title, what stands under it."""


@cache
def _template() -> Template:
    return Template((FOLDER / "html_page.html").read_text(encoding="utf-8"))


@cache
def _style() -> str:
    return (FOLDER / "html_page.css").read_text(encoding="utf-8")


def page(told: Told) -> str:
    """The whole page. Raises NotReady for a run that is open: it stays blind."""
    timeline = told.timeline
    if timeline.outcome is None:
        raise NotReady(words.CLOSED_TO_VIEW)
    parts = list(_parts(told))
    links = [element("li", element("a", name.capitalize(), href=f"#{name}")) for name, *_ in parts]
    return _template().substitute(
        made_by=MADE_BY,
        title=escaped(f"{words.VERDICTS[timeline.outcome]}: {timeline.title}"),
        style=_style(),
        style_hash=b64encode(sha256(_style().encode()).digest()).decode(),
        header=_header(told),
        contents=element("ul", *links),
        main=joined(section(*part) for part in parts),
        footer=_footer(timeline),
    )


def _header(told: Told) -> Html:
    timeline = told.timeline
    assert timeline.outcome is not None
    kind = timeline.outcome.replace("_", "-")
    said = element(
        "p",
        element("strong", words.VERDICTS[timeline.outcome], class_="word"),
        " ",
        words.verdict_text(timeline),
        class_=f"verdict {kind}",
    )
    return Html(
        element("p", "Debrief · ", person(timeline.field_name), class_="field")
        + element("h1", timeline.title)
        + said
        + _facts(told)
    )


def _facts(told: Told) -> Html:
    rows = [element("div", element("dt", head), element("dd", fact)) for head, fact in _of(told)]
    return element("dl", *rows, class_="facts")


def _of(told: Told) -> Iterator[tuple[str, str]]:
    timeline = told.timeline
    yield "found", f"{len(timeline.finds)} of {timeline.to_find}"
    if timeline.finds:
        yield "last find", words.span_text(timeline.finds[-1].run_s)
    if timeline.time_limit_s is not None:
        yield "limit", words.whole_text(timeline.time_limit_s)
    about = timeline.about
    if about.searcher:
        knew = " (knew the places)" if about.knows_places else ""
        yield "searcher", joined([person(about.searcher), knew])
    if timeline.start is not None:
        yield "from", person(timeline.start.name)
    if timeline.standard:
        known = told.verdict
        yield "standard", timeline.standard if known is None else known.standard.title
    if timeline.started_utc:
        begun = datetime.fromisoformat(timeline.started_utc).astimezone()
        yield "begun", element("time", f"{begun:%Y-%m-%d %H:%M}", datetime=timeline.started_utc)
    yield "run", run_id_text(timeline.run_id)


def _parts(told: Told) -> Iterator[Part]:
    timeline = told.shown
    if timeline.finds:
        yield "splits", "Splits", html_figures.splits(timeline)
    if timeline.started:
        yield "par", "Against par", html_figures.beside_par(told.beside)
    if told.verdict is not None:
        yield "standard", "Against the standard", html_steps.standard(told.verdict)
    if timeline.started and timeline.targets:
        content = html_lanes.drawn(told) + html_lanes.listed(told) + html_lanes.planned(told)
        yield "timeline", "What happened when", Html(content)
    if timeline.targets:
        yield "map", "Where they were", _where(told)
    if told.modelled is not None:
        yield "distance", "What a receiver shows on the way", _distance(told)
    if timeline.started:
        yield "steps", "Steps", html_steps.drawn(told)
    if told.past:
        yield "trend", "Trend", html_figures.trend(told)
    purpose = words.purpose_lines(timeline)
    if purpose:
        yield "purpose", "What it was for", bullets(purpose)
    if timeline.flags:
        yield "flags", "To know about this run", bullets(map(words.flag_text, timeline.flags))
    yield "care", "Read it with care", bullets([*words.honest_lines(timeline), KEEP_BACK])
    if words.again_text(timeline):
        yield "again", "The same problem again", _again(timeline)


KEEP_BACK = "This page shows where targets lie: keep it from whoever is still to search this field."


def _where(told: Told) -> Html:
    content = html_plan.drawn(told) + html_plan.listed(told)
    if told.kept_back:
        content += element("p", sentence(words.kept_back_text(told.kept_back)), class_="said")
    return Html(content)


def _distance(told: Told) -> Html:
    assert told.modelled is not None
    who = f"One modelled search of the same problem ({told.modelled.searcher}): a model, not you."
    found = html_trace.found_text(told.modelled.trace)
    drawing = html_trace.drawn(told.modelled, told.timeline)
    return Html(drawing + element("p", f"{who} {found}", class_="said"))


def _again(timeline: Timeline) -> Html:
    said, command = words.again_text(timeline).split("\n", 1)
    first, *options = command.split(" --")
    whole = [element("span", part) for part in (first, *(f"--{one}" for one in options))]
    code = element("pre", element("code", joined(whole, " ")), tabindex=0, aria_label="command")
    return Html(
        element("p", said)
        + code
        + element("p", "For who sets problems: who has read this page knows its places.")
    )


def _footer(timeline: Timeline) -> Html:
    return element(
        "p",
        f"Run {run_id_text(timeline.run_id)}, made by blindfield. Practice equipment, never rescue "
        "equipment. Times are cut off, not rounded.",
    )
