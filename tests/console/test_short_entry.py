"""Short entries: what each means, and what cannot be one."""

from __future__ import annotations

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blindfield.console.short_entry import Entry, parse_entry
from blindfield.field.survey import Kind, Reading
from blindfield.model.errors import ConfigError
from support.scenarios import small_field

PLACE = small_field(3)
NAMED = dataclasses.replace(
    PLACE,
    targets=tuple(
        dataclasses.replace(target, name=name)
        for target, name in zip(PLACE.targets, ("cairn 2", "b", "Old Larch"), strict=True)
    ),
)


def tape(origin: str, value_m: float) -> tuple[Reading, ...]:
    return (Reading(Kind.TAPE, origin, value_m),)


@pytest.mark.parametrize(
    ("text", "entry"),
    [
        ("31.4", Entry("2", tape("D", 31.4))),
        ("31,4m", Entry("2", tape("D", 31.4))),
        ("3 31.4", Entry("3", tape("D", 31.4))),
        ("a 31.4", Entry("2", tape("A", 31.4))),
        ("3 A 31.40", Entry("3", tape("A", 31.4))),
        ("3  ab25   18.2", Entry("3", tape("AB25", 18.2))),
        ("3 ab12,5 18,2", Entry("3", tape("AB12.5", 18.2))),
        (
            "3 ab 12.3 8.2",
            Entry("3", (Reading(Kind.ALONG, "AB", 12.3), Reading(Kind.OFFSET, "AB", 8.2))),
        ),
        ("a .5", Entry("2", tape("A", 0.5))),
        ("deep 0.95", Entry("2", depth_m=0.95)),
        ("3 DEEP 0,95m", Entry("3", depth_m=0.95)),
        ("3 lies 120 -10", Entry("3", attitude_deg=(120.0, -10.0))),
    ],
)
def test_an_entry_is_read(text: str, entry: Entry) -> None:
    assert parse_entry(PLACE, text, target="2", origin="D") == entry


@pytest.mark.parametrize(
    ("text", "entry"),
    [
        ("cairn 2 31.4", Entry("cairn 2", tape("D", 31.4))),
        ("CAIRN 2 c 31.4", Entry("cairn 2", tape("C", 31.4))),
        ("b 31.4", Entry("Old Larch", tape("B", 31.4))),
        ("b b 31.4", Entry("b", tape("B", 31.4))),
        ("old larch deep 1", Entry("Old Larch", depth_m=1.0)),
    ],
)
def test_targets_with_names_of_words_are_understood(text: str, entry: Entry) -> None:
    assert parse_entry(NAMED, text, target="Old Larch", origin="D") == entry


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        ("1 a -5", "target 1: A: a tape cannot read -5 m"),
        ("1 a 300", "target 1: A: 300 m is far longer than this field"),
        ("9 a 3", 'no target named "9"'),
        ("1 e 3", 'target 1: this field has no peg "e"'),
        ("1 a x1", 'target 1, A: "x1" is no length'),
        ("1 a", "target 1, A: there is no length"),
        ("rubbish", '"rubbish" is no reading'),
        ("1 ab 3", "target 1: base line AB takes two lengths"),
        ("1 ac 3 4", "target 1: .* no side"),
        ("1 ab60 3", "target 1: AB60: from A to B it is only 50.00 m"),
        ("1 a 3 4", '"1 a 3 4" has a number too many'),
        ("1 deep 95", "target 1 cannot lie 95 m deep.*0.95 m"),
        ("1 deep", 'target 1: "deep" takes a number'),
        ("1 lies 4", 'target 1: "lies" takes two numbers'),
        ("1 lies 400 0", "target 1: 400 degrees is outside"),
        ("31.4", "which target"),
        ("1 31.4", "target 1: from which peg"),
    ],
)
def test_what_cannot_be_is_refused_with_target_and_peg(entry: str, says: str) -> None:
    with pytest.raises(ConfigError, match=says):
        parse_entry(PLACE, entry, target=None, origin=None)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("x", '"x" is no reading'),
        ("e 3", 'target 2: this field has no peg "e"'),
        ("", "no reading"),
    ],
)
def test_at_a_question_too(text: str, says: str) -> None:
    with pytest.raises(ConfigError, match=says):
        parse_entry(PLACE, text, target="2", origin="D")


@given(text=st.text(max_size=20) | st.from_regex(r"[0-9a-e .,m+-]{0,16}", fullmatch=True))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        found = parse_entry(PLACE, text, target="2", origin="D")
    except ConfigError:
        return
    assert found.target in {"1", "2", "3"}
    assert all(0 <= abs(reading.value_m) < 89 for reading in found.readings)
