"""Times are never shown finer, nor better, than they are known; words are the users' own."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blindfield.debrief import words
from blindfield.debrief.values import CueStory, Flag, Strike
from blindfield.model.run_summary import OUTCOMES
from blindfield.model.span import Span


def about(best: float, half: float) -> Span:
    return Span(best - half, best, best + half)


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [
        (0.0, "0:00.0"),
        (192.48, "3:12.4"),
        (1000.3 - 1000.0, "0:00.3"),  # 0.29999999999995453: arithmetic must not eat a tenth
        (340.66, "5:40.6"),
        (59.99, "0:59.9"),
        (60.0, "1:00.0"),
        (3725.09, "62:05.0"),
        (-3.25, "-0:03.2"),
        (-0.04, "0:00.0"),
    ],
)
def test_times_are_cut_off_at_the_tenth(seconds: float, shown: str) -> None:
    assert words.clock_text(seconds) == shown


@given(st.integers(0, 36_000))
def test_every_tenth_is_shown_as_itself(tenths: int) -> None:
    shown = words.clock_text(tenths / 10)
    minutes, rest = shown.split(":")
    assert int(minutes) * 600 + int(rest.replace(".", "")) == tenths


@given(st.floats(0, 4000, allow_nan=False))
def test_a_shown_time_is_never_later_than_the_time(seconds: float) -> None:
    minutes, rest = words.clock_text(seconds).split(":")
    shown_s = int(minutes) * 60 + float(rest)
    assert shown_s <= seconds + 2e-6
    assert seconds - shown_s < 0.1 + 1e-6


@pytest.mark.parametrize(
    ("span", "shown"),
    [
        (about(192.48, 0.002), "3:12.4"),
        (about(192.48, 0.05), "3:12.4"),
        (about(192.48, 0.06), "about 3:12"),
        (about(192.48, 1.0), "about 3:12"),
        (about(192.48, 1.01), "3:12 ±2 s"),
        (about(192.48, 8.0), "3:12 ±9 s"),
        (Span(190.2, None, 219.3), "between 3:10 and 3:40"),
        (Span(190.0, None, 220.0), "between 3:10 and 3:40"),
    ],
)
def test_a_time_is_shown_as_finely_as_it_is_known(span: Span, shown: str) -> None:
    assert words.span_text(span) == shown


@settings(max_examples=200)
@given(st.floats(0, 3000), st.floats(0, 60), st.floats(0, 60))
def test_what_is_shown_with_a_margin_holds_the_whole_span(
    low: float, below: float, above: float
) -> None:
    span = Span(low, low + below, low + below + above)
    shown = re.fullmatch(r"(\d+):(\d\d) ±(\d+) s", words.span_text(span))
    if shown is None:
        assert span.width <= words.ABOUT_S + 1e-6
        return
    minutes, seconds, beside_s = map(int, shown.groups())
    shown_s = minutes * 60 + seconds
    assert shown_s - beside_s <= span.low + 1e-9
    assert span.high <= shown_s + beside_s + 1e-9


@given(st.floats(0, 3000), st.floats(0, 200))
def test_between_two_times_holds_the_whole_span(low: float, width: float) -> None:
    shown = words.span_text(Span(low, None, low + width))
    first, last = (
        int(minutes) * 60 + int(seconds) for minutes, seconds in re.findall(r"(\d+):(\d\d)", shown)
    )
    assert first <= low + 2e-6
    assert low + width <= last + 2e-6


def test_every_outcome_has_its_word_and_colour() -> None:
    assert set(words.VERDICTS) == set(words.STYLES) == set(OUTCOMES)
    assert len(set(words.VERDICTS.values())) == len(OUTCOMES)


def cue(trigger: str, seconds: float | None, **changes: object) -> CueStory:
    values: dict[str, object] = {
        "trigger": trigger,
        "seconds": seconds,
        "word": 1,
        "sends": True,
        "because": "",
        "due": None,
        "happened": None,
        "followed": "not_due",
        **changes,
    }
    return CueStory(**values)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("planned", "shown"),
    [
        (cue("at", 0.0), "sends from the start"),
        (cue("at", 120.0, sends=False), "rests at 2:00"),
        (cue("at", 120.5), "sends at 2:00.5"),
        (cue("on_my_strike", 0.0, sends=False), "rests on its own strike"),
        (cue("on_my_strike", 30.0, sends=False), "rests 30 s after its own strike"),
        (cue("on_my_dug_out", 0.0, sends=False), "rests on being dug out"),
        (cue("on_word", None), "sends when told, else not at all"),
        (
            cue("on_word", 420.0, because="as said"),
            "sends when told, at 7:00 at the latest: as said",
        ),
    ],
)
def test_a_plan_reads_as_a_sentence(planned: CueStory, shown: str) -> None:
    assert words.plan_text(planned) == shown


@pytest.mark.parametrize(
    ("story", "shown"),
    [
        (cue("at", 0.0), "its turn did not come"),
        (cue("at", 0.0, followed="missing"), "no: it should have"),
        (cue("at", 0.0, happened=about(5.0, 0), followed="as_planned"), "yes, at 0:05.0"),
        (
            cue("at", 0.0, due=about(1.0, 0), happened=about(5.0, 0), followed="late"),
            "late, at 0:05.0 instead of 0:01.0",
        ),
    ],
)
def test_what_came_of_a_plan_reads_as_a_sentence(story: CueStory, shown: str) -> None:
    assert words.outcome_text(story) == shown


def test_felt_and_called_strikes_are_kept_apart() -> None:
    span = about(1.0, 0)
    felt = Strike(run_s=span, manner="push", strength=9, standing="find")
    called = Strike(run_s=span, manner=None, strength=None, standing="find", felt=False)
    assert words.manner_text(felt) == "slow push"
    assert words.manner_text(called) == "called, not felt"


def test_every_flag_is_a_sentence_with_and_without_its_details() -> None:
    bare = [words.flag_text(Flag(kind=kind)) for kind in words._FLAGS]
    full = [
        words.flag_text(
            Flag(kind=kind, target="Fir", run_s=about(60.0, 0), seconds=4.2, text="the reason")
        )
        for kind in words._FLAGS
    ]
    for sentence in bare + full:
        assert re.fullmatch(r"[A-Z].*[a-z0-9)]\.", sentence), sentence
        assert "None" not in sentence
        assert "{" not in sentence
    assert words.flag_text(Flag(kind="link_lost", target="Fir", seconds=math.pi)).startswith(
        "Fir could not be heard for 4 s."
    )
    # One that never came back is not said to have gone on.
    assert "not known" in words.flag_text(Flag(kind="gone", target="Fir", run_s=about(60.0, 0)))


def test_an_unknown_flag_is_told_as_it_stands() -> None:
    assert words.flag_text(Flag(kind="other", text="battery_low")) == "Noted: battery low."
