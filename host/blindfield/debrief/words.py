"""The words and times of a debrief. Times are never shown finer than they are known."""

from __future__ import annotations

import math

from blindfield.debrief.values import CueStory, Flag, Strike, Timeline
from blindfield.model.run_summary import Outcome
from blindfield.model.span import Span

# A tenth is shown only when the time is known at least that well.
TENTH_S = 0.1
ABOUT_S = 2.0
# What stands below a device's own microsecond is the computer's arithmetic, not time.
_MICROSECOND_S = 1e-6

UNPROVEN = "The strike detector is unproven until it is calibrated in the ground."
STRIKE_ONLY = (
    "This run ended on the strike. It does not pass an exam in which the buried have to be dug out."
)
KNEW_PLACES = (
    "Walked by somebody who knew where the targets lie: it says nothing of an unknown field."
)
CLOSED_TO_VIEW = "This run is still open. Nothing of it is shown before it ends."

VERDICTS: dict[Outcome, str] = {
    "met": "Met",
    "not_met": "Not met",
    "stopped": "Stopped",
    "interrupted": "Interrupted",
    "void": "Void",
}
# Colour goes with the word, never without it.
STYLES: dict[Outcome, str] = {
    "met": "bold green",
    "not_met": "bold red",
    "stopped": "bold yellow",
    "interrupted": "bold yellow",
    "void": "bold yellow",
}


def clock_text(seconds: float) -> str:
    """m:ss.t, cut off at the tenth and never rounded up: 192.48 gives 3:12.4."""
    tenths = math.floor(abs(seconds) * 10 + 10 * _MICROSECOND_S)
    minutes, tenths = divmod(tenths, 600)
    sign = "-" if seconds < 0 and (minutes or tenths) else ""
    return f"{sign}{minutes}:{tenths // 10:02d}.{tenths % 10}"


def whole_text(seconds: float) -> str:
    """m:ss, cut off at the second."""
    return clock_text(seconds)[:-2]


def span_text(span: Span) -> str:
    """The time as finely as it is known: 3:12.4, about 3:12, 3:12 ±4 s, or between two."""
    if span.best is None:
        return f"between {whole_text(span.low)} and {whole_text(_up(span.high))}"
    if span.width <= TENTH_S + _MICROSECOND_S:
        return clock_text(span.best)
    if span.width <= ABOUT_S:
        return f"about {whole_text(span.best)}"
    shown_s = math.floor(span.best + _MICROSECOND_S)
    beside_s = math.ceil(max(shown_s - span.low, span.high - shown_s))
    return f"{whole_text(shown_s)} ±{beside_s} s"


def _up(seconds: float) -> float:
    """To the next whole second: an upper bound must not be cut off below itself."""
    return math.ceil(seconds - _MICROSECOND_S)


def verdict_text(timeline: Timeline) -> str:
    """What follows the verdict's word: a sentence or two."""
    outcome = timeline.outcome
    if outcome is None:
        return CLOSED_TO_VIEW
    if not timeline.started:
        return "The run did not start." + _because(timeline)
    if outcome in ("met", "not_met"):
        return _judged(timeline)
    if outcome == "stopped":
        who = {"searcher": " by the searcher", "instructor": " by the instructor"}
        who["knock"] = " by the knock pattern"
        by = who.get(timeline.stopped_by, "")
        return f"Ended{by}{_at_end(timeline)} with {_count(timeline)} found.{_because(timeline)}"
    left_out = "It does not count." if outcome == "void" else "It counts neither way."
    if any(flag.kind in ("gone", "not_confirmed_silent") for flag in timeline.flags):
        left_out += " Whether every signal was there is not known."
    return f"Ended{_at_end(timeline)} with {_count(timeline)} found. {left_out}{_because(timeline)}"


def _judged(timeline: Timeline) -> str:
    limit_s, finds = timeline.time_limit_s, timeline.finds
    within = "" if limit_s is None else f" within the limit of {whole_text(limit_s)}"
    found = f"{timeline.found_in_time} of {timeline.to_find} found{within}"
    last = f"; the last at {span_text(finds[-1].run_s)}" if finds else ""
    late = len(finds) - timeline.found_in_time
    if late > 0:
        last = f", {late} more in overtime{last}"
    return f"{found}{last}."


def _count(timeline: Timeline) -> str:
    return f"{len(timeline.finds)} of {timeline.to_find}"


def _at_end(timeline: Timeline) -> str:
    return "" if timeline.end_run_s is None else f" at {span_text(timeline.end_run_s)}"


def _because(timeline: Timeline) -> str:
    if not timeline.reason or timeline.stopped_by == "knock":
        return ""
    return f" Reason: {_REASONS.get(timeline.reason, timeline.reason)}."


_REASONS = {
    "silence": "the field was silenced",
    "no target sends any more": "no target sent any more",
    "all found": "all were found",
}


def called(name: str) -> str:
    """The target's name as it stands in a sentence: "Larch", but "target 4"."""
    return f"target {name}" if name.isdigit() else name


def purpose_lines(timeline: Timeline) -> tuple[str, ...]:
    """What the problem was for, and how it came to be drawn."""
    about = timeline.about
    aids = (f"With an aid: {', '.join(aid.replace('_', ' ') for aid in about.aids)}.",)
    watch = (f"To watch: {about.watch}",) if about.watch else ()
    purpose = (about.purpose,) if about.purpose else ()
    return (*purpose, *watch, *(aids if about.aids else ()), *about.why)


def plan_text(cue: CueStory) -> str:
    """What was planned: "sends at 2:00", "sends when told, at 6:00 at the latest"."""
    verb = "sends" if cue.sends else "rests"
    delay_s = cue.seconds or 0.0
    after = f"{delay_s:g} s after" if delay_s else "on"
    if cue.trigger == "at":
        text = f"{verb} from the start" if delay_s == 0 else f"{verb} at {_planned_time(delay_s)}"
    elif cue.trigger == "on_my_strike":
        text = f"{verb} {after} its own strike"
    elif cue.trigger == "on_my_dug_out":
        text = f"{verb} {after} being dug out"
    elif cue.seconds is None:
        text = f"{verb} when told, else not at all"
    else:
        text = f"{verb} when told, at {_planned_time(delay_s)} at the latest"
    return f"{text}: {cue.because}" if cue.because else text


def _planned_time(seconds: float) -> str:
    """A time that was set, not measured: without its tenths when it has none."""
    return whole_text(seconds) if seconds == int(seconds) else clock_text(seconds)


def outcome_text(cue: CueStory) -> str:
    """What came of it: "yes, at 3:12.5", "late, at 3:20.1 instead of 3:12.4", "no"."""
    if cue.happened is None:
        return "no: it should have" if cue.followed == "missing" else "its turn did not come"
    if cue.followed == "late" and cue.due is not None:
        return f"late, at {span_text(cue.happened)} instead of {span_text(cue.due)}"
    return f"yes, at {span_text(cue.happened)}"


def manner_text(strike: Strike) -> str:
    """How the target was struck."""
    manner = {"sharp": "sharp hit", "push": "slow push"}.get(strike.manner or "", "strike")
    return manner if strike.felt else "called, not felt"


def standing_text(strike: Strike) -> str:
    """What a strike stands for."""
    return {
        "find": "found",
        "early": "found before it sent",
        "hasty": "too soon: not counted",
        "repeat": "struck again",
        "stray": "stray: not in play",
        "withdrawn": "withdrawn: it was no strike",
        "outside": "before the start or after the end",
        "knock": "a knock, no strike",
    }[strike.standing]


# Filled by `flag_text`: who, whom (the same inside a sentence), when, why, away.
_FLAGS = {
    "rebooted": "{who} was restarted{when}. It was silent from then until it was told anew.",
    "reloaded": "{who} took its part of the problem anew{when}.",
    "load_failed": "{who} did not take its part of the problem{why}.",
    "silenced": "The field was silenced{when}{why}.",
    "silenced_by_knock": "The field was silenced{when} by the knock pattern on {whom}.",
    "not_confirmed_silent": "{who} did not confirm that it is silent{why}. Go there and look.",
    "gap": "Part of what {whom} felt is missing{when}: a strike may be lost.",
    "void": "The run was declared void{why}.",
    "recovered": "The program ended in the middle of the run and took up its record later.",
    "start_cancelled": "A start was called off everywhere{why}.",
    "word_unheard": "A word to {whom}{when} was not answered: the plan without it held.",
    "stray": "{who} was struck{when} but was not in play: stray. The run went on.",
    "early": "{who} was struck{when} before it sent. It counts as found.",
    "hasty": "{who} was struck{when}, sooner than anyone could be there: not counted.",
    "lease": "{who} fell silent{when}: it had heard nothing from the program for too long.",
    "dug_stray": "{who} was dug out{when} but was not in play. Put it back.",
    "unfelt": "{who} was dug out{when} but no strike on it was felt.",
    "link_lost": "{who} could not be heard {away}. "
    "It went on by itself and stamped its strikes by its own clock.",
    "gone": "{who} could not be heard {away}. Whether it sent from then on, and what it felt, is "
    "not known: what was not found of it says nothing about the search.",
}


def flag_text(flag: Flag) -> str:
    """A sentence that says what the flag means."""
    sentence = _FLAGS.get(flag.kind)
    if sentence is None:
        return f"Noted: {(flag.text or flag.kind).replace('_', ' ')}."
    whom = called(flag.target) if flag.target else "a target"
    return sentence.format(
        who=whom[0].upper() + whom[1:],
        whom=whom,
        when="" if flag.run_s is None else f" at {span_text(flag.run_s)}",
        why=f" ({flag.text})" if flag.text else "",
        away=_away(flag),
    )


def kept_back_text(count: int) -> str:
    """Of the targets that this run had nothing to do with."""
    lie = "1 more lies" if count == 1 else f"{count} more lie"
    return f"{lie} in this field, for other runs; for whoever buries: `blindfield debrief --all`."


def _away(flag: Flag) -> str:
    since = "" if flag.run_s is None else f"from {span_text(flag.run_s)} on, "
    if flag.seconds is None:
        return f"{since}to the end"
    return f"{since}for {math.ceil(flag.seconds)} s"


def honest_lines(timeline: Timeline) -> tuple[str, ...]:
    """What must be said beside any result."""
    lines = [UNPROVEN]
    if timeline.end_on == "strike" and timeline.finds and not timeline.about.digs_only:
        lines.append(STRIKE_ONLY)
    if timeline.about.knows_places:
        lines.append(KNEW_PLACES)
    counted, shown = timeline.summary_found, len(timeline.finds)
    if counted is not None and counted != shown:
        lines.append(
            f"{counted} counted as found when the run was closed, {shown} with all that is known "
            "now. The verdict above is the one of the close."
        )
    return tuple(lines)


def again_text(timeline: Timeline) -> str:
    """How to meet the same problem again; empty without a seed."""
    if timeline.seed is None:
        return ""
    options = [f"--drill {timeline.kind}", f"--seed {timeline.seed}"]
    if timeline.time_limit_s is not None:
        options.append(f"--minutes {timeline.time_limit_s / 60:g}")
    if timeline.end_on == "dug_out" and not timeline.about.digs_only:
        options.append("--end-on dug-out")
    if timeline.standard:
        options.append(f"--standard {timeline.standard}")
    command = " ".join(options)
    return f"The same problem again, as long as the same targets answer:\nblindfield run {command}"
