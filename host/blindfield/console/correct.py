"""`blindfield correct RUN`: say what a run got wrong. Nothing is edited: it is read otherwise."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from blindfield.console.closed_run import ClosedRun, author_of, closed_run, run_s_of
from blindfield.console.desk import add_field_argument, add_json_argument
from blindfield.console.summing import rebuild
from blindfield.debrief.corrections import corrections
from blindfield.debrief.moments import RunClock
from blindfield.debrief.values import Timeline, middle
from blindfield.debrief.words import VERDICTS, span_text, verdict_text
from blindfield.model.errors import ConfigError
from blindfield.model.events import Event
from blindfield.model.ids import run_id_text
from blindfield.model.run_summary import RunSummary
from blindfield.model.span import Span

SAID_WITHIN_S = 0.5
"""A time that a person says is known so well."""

EPILOG = (
    "Without anything to correct it lists the strikes with their numbers. What was recorded stays "
    "as it is: corrections stand beside it, and the result is worked out anew. --as-recorded takes "
    "them back."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("which", nargs="?", metavar="RUN", help="its id or how it begins")
    add_field_argument(parser)
    add_json_argument(parser)
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--strike", type=int, metavar="N", help="the strike with this number")
    which.add_argument(
        "--called", metavar="TARGET", help="a strike there that was not felt; with --at"
    )
    which.add_argument("--void", metavar="WHY", help="the run is not to count, and why")
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--no-strike", action="store_true", help="that was no strike")
    what.add_argument("--count", action="store_true", help="count it")
    what.add_argument("--as-recorded", action="store_true", help="take back what was said of it")
    parser.add_argument("--was", metavar="TARGET", help="it was this target")
    parser.add_argument("--at", metavar="M:SS", help="it was at this time since the start")
    parser.add_argument("--why", metavar="TEXT", help="why, for the record")
    parser.add_argument("--by", metavar="NAME", help="who says so (default: who is logged in)")
    parser.epilog = EPILOG


def run(options: argparse.Namespace) -> int:
    with closed_run(options, options.which) as here:
        said = _said(options, here)
        if not said:
            _show(options, here, ())
            return 0
        kind = "void" if options.void is not None else "correction"
        here.keep([{**one, "author": author_of(options)} for one in said], kind)
        rebuilt = rebuild(here.logbook, here.record)
        _show(options, here.reread(), _changes(rebuilt.stored, rebuilt.computed))
    return 0


@dataclass(frozen=True)
class Listed:
    """A strike as recorded; `said`: the verdicts that stand beside it now."""

    number: int
    event: Event
    run_s: Span
    target: str
    felt: bool
    said: tuple[str, ...]


def strikes_listed(events: Sequence[Event]) -> list[Listed]:
    """Every strike that was felt or called, numbered in the order of recording, which no later
    correction changes."""
    clock, corrected = RunClock(events), corrections(events)
    listed: list[Listed] = []
    for event in events:
        felt, called = event.kind == "strike", _is_called(event)
        if not (felt or called):
            continue
        run_s = clock.of(event) if felt else _said_span(event)
        target = str(event.data.get("device" if felt else "target", ""))
        said = tuple(corrected.of(event))
        listed.append(Listed(len(listed) + 1, event, run_s, target, felt, said))
    return listed


def _is_called(event: Event) -> bool:
    data = event.data
    return (
        event.kind == "correction"
        and data.get("verdict") == "counts"
        and "run_s" in data
        and not {"event_id", "device_key"} & set(data)
    )


def _said_span(event: Event) -> Span:
    run_s = float(event.data["run_s"])
    return Span(run_s - SAID_WITHIN_S, run_s, run_s + SAID_WITHIN_S)


def _said(options: argparse.Namespace, here: ClosedRun) -> list[dict[str, Any]]:
    """The data of what is to be kept; nothing where it was only asked for the list."""
    claims = _claims(options)
    if options.void is not None:
        if claims:
            raise ConfigError("--void goes alone.", remedy="It says that nothing of it counts.")
        return [{"reason": _text(options.void)}]
    if options.called is not None:
        return [_called(options, here)]
    if options.strike is None:
        if claims:
            raise ConfigError(
                "which strike is meant?",
                remedy="Give its number with --strike; without anything this command lists them.",
            )
        return []
    if not claims:
        raise ConfigError(
            "nothing is said of that strike.",
            remedy="Say --no-strike, --count, --was TARGET, --at M:SS or --as-recorded.",
        )
    strike = _numbered(options.strike, here)
    if not strike.felt and claims != ["--no-strike"]:
        raise ConfigError(
            "that strike was called by a person, not felt.",
            remedy="Take it back with --no-strike, and call it anew with --called.",
        )
    return list(_of_strike(options, here, strike))


def _claims(options: argparse.Namespace) -> list[str]:
    given = {
        "--no-strike": options.no_strike,
        "--count": options.count,
        "--as-recorded": options.as_recorded,
        "--was": options.was is not None,
        "--at": options.at is not None,
    }
    claims = [name for name, is_given in given.items() if is_given]
    alone = {"--no-strike", "--as-recorded"} & set(claims)
    if alone and len(claims) > 1:
        raise ConfigError(f"{alone.pop()} goes with nothing else.", remedy="Say one of them.")
    return claims


def _called(options: argparse.Namespace, here: ClosedRun) -> dict[str, Any]:
    if options.at is None or options.no_strike or options.as_recorded or options.was is not None:
        raise ConfigError(
            "a called strike has a target and a time.", remedy="Say --called TARGET --at M:SS."
        )
    return {
        "verdict": "counts",
        "target": _in_play(options.called, here),
        "run_s": _within(options.at, here),
        "reason": _text(options.why),
    }


def _in_play(name: str, here: ClosedRun) -> str:
    """A target that could be found. Raises ConfigError for one that did not send in that run."""
    target = here.target_named(name)
    if target.in_play:
        return target.name
    raise ConfigError(
        f"{target.name} did not send in that run, so a strike on it cannot count.",
        remedy="If another was struck, say --was TARGET.",
    )


def _numbered(number: int, here: ClosedRun) -> Listed:
    listed = strikes_listed(here.events)
    for strike in listed:
        if strike.number == number:
            return strike
    known = f"They are numbered from 1 to {len(listed)}." if listed else "None was felt."
    raise ConfigError(f"there is no strike number {number}.", remedy=known)


def _of_strike(
    options: argparse.Namespace, here: ClosedRun, strike: Listed
) -> Iterator[dict[str, Any]]:
    key = strike.event.device_key
    about: dict[str, Any] = {"reason": _text(options.why)}
    if key is None:
        about["event_id"] = strike.event.id
    else:
        about["device_key"] = [key.device_id.hex(), key.journal_id, key.seq]
    if options.no_strike:
        yield {**about, "verdict": "no_strike"}
    if options.as_recorded:
        yield {**about, "verdict": "as_recorded"}
    if options.count:
        if options.was is None:
            _in_play(_meant(strike, here), here)
        yield {**about, "verdict": "counts"}
    if options.was is not None:
        target = here.target_named(options.was).name
        yield {**about, "verdict": "was_target", "target": target}
    if options.at is not None:
        yield {**about, "verdict": "at_time", "run_s": _within(options.at, here)}


def _meant(strike: Listed, here: ClosedRun) -> str:
    """The target of a strike, as it was corrected so far."""
    said = corrections(here.events).of(strike.event).get("was_target")
    return strike.target if said is None else str(said.get("target", ""))


def _within(text: str, here: ClosedRun) -> float:
    """A time of this run. Raises ConfigError: after its end nothing could be struck."""
    run_s, end = run_s_of(text), here.run_ended
    if end is not None and run_s > end.high + SAID_WITHIN_S:
        raise ConfigError(
            f"the run ended at {span_text(end)}.", remedy="Say a time between start and end."
        )
    return run_s


def _text(text: str | None) -> str | None:
    plain = None if text is None else " ".join(text.split())
    return plain or None


def _changes(before: RunSummary | None, now: RunSummary) -> list[str]:
    """What came of it, in sentences."""
    assert before is not None
    changed = []
    if before.outcome != now.outcome:
        was, is_now = (VERDICTS[one.outcome] for one in (before, now))
        changed.append(f"The result was {was.lower()}, and is {is_now.lower()} now.")
    if before.found != now.found:
        changed.append(f"Found were {before.found}, and are {now.found} now.")
    elif before.find_run_s != now.find_run_s:
        was, is_now = (", ".join(map(span_text, one.find_run_s)) for one in (before, now))
        changed.append(f"Found were at {was}, and are at {is_now}.")
    return [f"Kept. {changed[0]}", *changed[1:]] if changed else ["Kept. Nothing else changes."]


def _show(options: argparse.Namespace, here: ClosedRun, changes: Sequence[str]) -> None:
    listed = strikes_listed(here.events)
    if options.json:
        rows = [_row(strike) for strike in listed]
        told = {
            "run": run_id_text(here.record.run_id),
            "outcome": here.timeline.outcome,
            "found": len(here.timeline.finds),
            "changes": list(changes),
            "strikes": rows,
        }
        print(json.dumps(told, indent=2))
        return
    print(f"Run {here.label}. {_verdict(here.timeline)}")
    for strike in listed:
        said = f"  [{', '.join(map(_said_text, strike.said))}]" if strike.said else ""
        how = "" if strike.felt else "  called, not felt"
        print(f"{strike.number:3}  {span_text(strike.run_s):<12} {strike.target}{how}{said}")
    if not listed:
        print("No strike was felt.")
    for change in changes:
        print(change)


def _verdict(timeline: Timeline) -> str:
    assert timeline.outcome is not None
    return f"{VERDICTS[timeline.outcome]}. {verdict_text(timeline)}"


def _said_text(verdict: str) -> str:
    texts = {"no_strike": "no strike", "counts": "counted", "was_target": "was another target"}
    return {**texts, "at_time": "at another time"}.get(verdict, verdict)


def _row(strike: Listed) -> dict[str, Any]:
    return {
        "number": strike.number,
        "run_s": middle(strike.run_s),
        "target": strike.target,
        "felt": strike.felt,
        "corrected": list(strike.said),
    }
