"""Events, their kinds, run ids and summaries as values."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blindfield.model.errors import LogbookError
from blindfield.model.event_kinds import KINDS
from blindfield.model.events import DeviceKey, DeviceTime, Event, utc_text
from blindfield.model.ids import match_run_id, new_run_id, parse_run_id, run_id_text
from blindfield.model.span import Span
from support.logbook_kit import EPOCH, strike, summary
from support.logbook_kit import UTC as NOON

U32 = st.integers(0, 2**32 - 1)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53), 2**53) | st.text(max_size=8)
    | st.floats(allow_nan=False, allow_infinity=False),
    lambda inner: st.lists(inner, max_size=3)
    | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)  # fmt: skip
SPANS = st.lists(
    st.floats(0, 1e9, allow_nan=False), min_size=3, max_size=3
).map(sorted).map(lambda three: Span(*three))  # fmt: skip
KINDS_OF_DEVICES = sorted(name for name, kind in KINDS.items() if "device" in kind.sources)
EVENTS = st.builds(
    Event,
    kind=st.sampled_from(KINDS_OF_DEVICES),
    source=st.just("device"),
    host_epoch=st.binary(min_size=8, max_size=8),
    utc=st.datetimes(timezones=st.just(UTC)).map(utc_text),
    run_id=st.none() | st.binary(min_size=8, max_size=8),
    device_key=st.none() | st.builds(DeviceKey, st.binary(min_size=8, max_size=8), U32, U32),
    device_time=st.none() | st.builds(DeviceTime, U32, st.integers(0, 255), U32, U32),
    host_s=st.none() | SPANS,
    data=st.dictionaries(st.sampled_from(["device", "note", "flags", "payload"]), JSON),
    raw=st.binary(max_size=40),
)


@given(EVENTS)
@settings(max_examples=150)
def test_an_event_survives_json(event: Event) -> None:
    text = json.dumps(event.with_id(12).to_json(), allow_nan=False)
    back = Event.from_json(json.loads(text))
    assert back == event
    assert back.id == 12


def _event(**changes: Any) -> Event:
    values: dict[str, Any] = {"kind": "note", "source": "host", "host_epoch": EPOCH, "utc": NOON}
    return Event(**{**values, **changes})


def test_an_unknown_kind_or_field_is_refused_by_name() -> None:
    with pytest.raises(LogbookError, match=r"'levitated'.*update"):
        _event(kind="levitated")
    with pytest.raises(LogbookError, match="'note' has no field 'colour'"):
        _event(data={"colour": "red", "text": "x"})


@pytest.mark.parametrize(
    "changes",
    [
        {"kind": "strike"},  # a host feels no strike
        {"run_id": b"short"},
        {"host_epoch": b""},
        {"device_key": (b"short", 1, 1)},
        {"utc": "2026-01-31T09:30:00Z"},
        {"utc": "2026-01-31T09:30:00.000000+01:00"},
        {"host_s": Span(float("-inf"), None, 0.0)},
        {"data": {"text": float("nan")}},
    ],
)
def test_misuse_is_refused(changes: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=r"cannot come|has 8 bytes|not a UTC|not a span|JSON"):
        _event(**changes)


def test_data_is_a_private_copy_in_the_form_json_gives_back() -> None:
    flags = ["early"]
    event = _event(data={"flags": flags, "text": ("a", 1)})
    flags.append("late")
    assert event.data == {"flags": ["early"], "text": ["a", 1]}


def test_damaged_json_of_an_event_is_a_logbook_error() -> None:
    good = strike(None, 1).to_json()
    for wrong in ({**good, "raw": "zz"}, {**good, "host_s": {"low": 1}}, {"kind": "note"}):
        with pytest.raises(LogbookError, match="cannot be read"):
            Event.from_json(wrong)


def test_the_registry_holds_the_kinds_of_the_design_each_explained() -> None:
    device = "boot strike dug_out knock silenced rearmed started sends rests ended gap"
    host = (
        "run_drawn checked loaded load_failed start_sent start_cancelled started_all"
        " clock_exchange word_sent link_lost link_back device_rebooted sheet_reloaded time_limit"
        " silence_sent silent_confirmed not_confirmed_silent closed recovered note"
    )
    person = "stop tick note caution_ticked correction void"
    for source, names in (("device", device), ("host", host), ("person", person)):
        for name in names.split():
            assert source in KINDS[name].sources
            assert KINDS[name].doc
            assert all(KINDS[name].fields.values())


def test_utc_text_converts_to_utc_and_refuses_a_naive_time() -> None:
    east = timezone(timedelta(hours=1))
    assert utc_text(datetime(2026, 1, 31, 10, 30, 0, 5, east)) == "2026-01-31T09:30:00.000005Z"
    with pytest.raises(ValueError, match="zone"):
        utc_text(datetime(2026, 1, 31))


@given(st.binary(min_size=8, max_size=8))
def test_run_ids_survive_their_text(run_id: bytes) -> None:
    text = run_id_text(run_id)
    assert len(text) == 13
    assert text == text.lower()
    assert parse_run_id(text) == parse_run_id(f" {text.upper()} ") == run_id


def test_a_run_id_of_rfc_4648_form() -> None:
    # RFC 4648 section 10: BASE32("foobar") = "MZXW6YTBOI======"; one more byte pair follows it.
    assert run_id_text(b"foobar\0\0").startswith("mzxw6ytboi")
    assert len(new_run_id()) == 8


@pytest.mark.parametrize("text", ["", "abc", "a" * 14, "aaaaaaaaaaaa1", "aaaaaaaaaaaab", "ä" * 13])
def test_what_is_no_run_id_is_refused(text: str) -> None:
    with pytest.raises(LogbookError, match="not the id of a run"):
        parse_run_id(text)


def test_a_prefix_names_one_run_or_says_why_not() -> None:
    runs = [b"\0" * 8, b"\0" * 7 + b"\x10", b"\xff" * 8]
    assert match_run_id("7", runs) == runs[2]
    assert match_run_id("AAAAAAAAAAAA" + "A", runs) == runs[0]
    with pytest.raises(LogbookError, match=r"2 runs begin with 'aaa': aaaaaaaaaaaaa, aaaaaaa"):
        match_run_id("aaa", runs)
    with pytest.raises(LogbookError, match="no run begins with 'b'"):
        match_run_id("b", runs)
    with pytest.raises(LogbookError, match="'1' cannot be in one"):
        match_run_id("1", runs)
    with pytest.raises(LogbookError, match="empty"):
        match_run_id(" ", runs)


def test_a_summary_counts_its_finds_and_knows_the_outcomes() -> None:
    assert summary(b"12345678").found == 2
    with pytest.raises(ValueError, match="outcome"):
        summary(b"12345678", outcome="won")
    with pytest.raises(ValueError, match="8 bytes"):
        summary(b"1")
