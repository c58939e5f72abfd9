"""The debrief as plain JSON values, for `--json`."""

from __future__ import annotations

from typing import Any

from blindfield.debrief.values import CueStory, Find, Flag, Strike, TargetStory, Timeline
from blindfield.debrief.words import flag_text, honest_lines, verdict_text
from blindfield.model.ids import run_id_text
from blindfield.model.span import Span


def to_json(timeline: Timeline) -> dict[str, Any]:
    """All that `render` shows and more. Every time is {"low", "best", "high"} in seconds of run
    time, best None where nothing speaks for one moment. Of an open run: only that it is open.
    """
    run = {"run": run_id_text(timeline.run_id), "field": timeline.field_name}
    if timeline.outcome is None:
        return {**run, "outcome": None, "verdict": verdict_text(timeline)}
    return {
        **run,
        "drill": timeline.kind,
        "title": timeline.title,
        "seed": timeline.seed,
        "outcome": timeline.outcome,
        "verdict": verdict_text(timeline),
        "reason": timeline.reason,
        "standard": timeline.standard,
        "started": timeline.started,
        "started_utc": timeline.started_utc,
        "ends_on": timeline.end_on,
        "time_limit_s": timeline.time_limit_s,
        "end_run_s": _span(timeline.end_run_s),
        "overtime_s": timeline.overtime_s,
        "to_find": timeline.to_find,
        "found_in_time": timeline.found_in_time,
        "finds": [_find(find) for find in timeline.finds],
        "targets": [_target(target) for target in timeline.targets],
        "start": None if timeline.start is None else vars(timeline.start),
        "flags": [_flag(flag) for flag in timeline.flags],
        "cautions": list(honest_lines(timeline)),
    }


def _span(span: Span | None) -> dict[str, float | None] | None:
    if span is None:
        return None
    return {"low": span.low, "best": span.best, "high": span.high}


def _find(find: Find) -> dict[str, Any]:
    return {
        "number": find.number,
        "target": find.target,
        "run_s": _span(find.run_s),
        "split_s": _span(find.split_s),
        "dug_out_run_s": _span(find.dug_out),
        "struck_run_s": _span(find.struck),
    }


def _target(target: TargetStory) -> dict[str, Any]:
    return {
        "name": target.name,
        "x_m": target.x_m,
        "y_m": target.y_m,
        "depth_m": target.depth_m,
        "in_play": target.in_play,
        "sends": [{"start": _span(one.start), "end": _span(one.end)} for one in target.sends],
        "strikes": [_strike(strike) for strike in target.strikes],
        "dug_out_run_s": _span(target.dug_out),
        "planned": [_cue(cue) for cue in target.cues],
    }


def _strike(strike: Strike) -> dict[str, Any]:
    return {**vars(strike), "run_s": _span(strike.run_s)}


def _cue(cue: CueStory) -> dict[str, Any]:
    return {**vars(cue), "due": _span(cue.due), "happened": _span(cue.happened)}


def _flag(flag: Flag) -> dict[str, Any]:
    return {
        "kind": flag.kind,
        "target": flag.target,
        "run_s": _span(flag.run_s),
        "seconds": flag.seconds,
        "meaning": flag_text(flag),
    }
