"""Receive ranges as walked: what may be typed, what comes of it, what the logbook gives back."""

from __future__ import annotations

import math
from random import Random
from statistics import stdev
from typing import Any

import pytest

from blindfield.field.receive_range import (
    Pass,
    a_name,
    earlier,
    event_data,
    newest,
    read_metres,
    read_pass,
    receive_range,
)
from blindfield.model.errors import ConfigError
from blindfield.model.events import Event

EPOCH = b"loopclok"


def passes_of(*readings_m: float) -> list[Pass]:
    return [Pass(*readings_m[at : at + 2]) for at in range(0, len(readings_m), 2)]


def kept(day: int, searcher: str, *readings_m: float, **changes: Any) -> Event:
    found = receive_range(searcher, "three antennas", passes_of(*readings_m))
    data = event_data(found, field="Larch Hollow", target="1") | changes
    utc = f"2026-02-{day:02d}T09:30:00.000000Z"
    return Event(kind="receive_range", source="person", host_epoch=EPOCH, utc=utc, data=data)


def test_the_published_worked_value() -> None:
    """r_max 40 m, sigma 4 m: 40.3 m (Schreilechner, Eck, Schober, ISSW 2009)."""
    # six readings 40 +- d have the standard deviation d sqrt(6/5)
    d_m = 4.0 / math.sqrt(6.0 / 5.0)
    found = receive_range("Ada", "own", passes_of(*[40.0 - d_m, 40.0 + d_m] * 3))
    assert found.mean_m == pytest.approx(40.0)
    assert found.sigma_m == pytest.approx(4.0)
    assert found.strip_width_m == pytest.approx(40.3, abs=0.05)
    assert found.farthest_m == pytest.approx(40.0 + d_m)
    assert found.doubt == ""


def test_readings_without_spread_give_the_whole_width() -> None:
    found = receive_range("Ada", "own", [Pass(30.0, 30.0)] * 3)
    assert (found.mean_m, found.sigma_m, found.strip_sigma_m) == (30.0, 0.0, 0.0)
    assert found.strip_width_m == pytest.approx(2 * 0.25 ** (1 / 3) * 30.0)


def test_the_standard_error_of_the_width_is_what_repeated_tests_scatter_by() -> None:
    rng = Random(3)
    tests = [
        receive_range("a", "b", passes_of(*[rng.gauss(40.0, 3.0) for _ in range(8)]))
        for _ in range(1500)
    ]
    widths_m = [test.strip_width_m for test in tests if test.strip_width_m is not None]
    rms_m = math.sqrt(sum(test.strip_sigma_m**2 for test in tests) / len(tests))
    assert len(widths_m) == len(tests)
    assert rms_m == pytest.approx(stdev(widths_m), rel=0.06)


@pytest.mark.parametrize(
    ("readings_m", "doubt"),
    [
        ((60.0, 20.0, 60.0, 20.0, 60.0, 20.0), "no search strip is left"),
        ((50.0, 25.0, 45.0, 22.0, 48.0, 26.0), "means little"),
        ((44.0, 38.0, 43.0, 37.0, 45.0, 39.0), ""),
    ],
)
def test_a_spread_too_large_is_named(readings_m: tuple[float, ...], doubt: str) -> None:
    found = receive_range("Ada", "own", passes_of(*readings_m))
    assert (doubt in found.doubt) if doubt else found.doubt == ""
    assert (found.strip_width_m is None) == (doubt == "no search strip is left")


@pytest.mark.parametrize("count", [0, 1, 2])
def test_fewer_than_three_passes_are_refused(count: int) -> None:
    with pytest.raises(ConfigError, match="too few"):
        receive_range("Ada", "own", [Pass(40.0, 38.0)] * count)


@pytest.mark.parametrize(
    ("text", "value_m"), [("42.5", 42.5), (" 42,5 ", 42.5), ("38m", 38.0), ("104", 104.0)]
)
def test_lengths_as_gloves_type_them(text: str, value_m: float) -> None:
    assert read_metres(text) == value_m


@pytest.mark.parametrize(
    "text", ["forty", "", "-4", "0", "0.5", "400", "nan", "inf", "4e9", "4 2", "1,2,3", "."]
)
def test_absurd_readings_and_words_are_refused(text: str) -> None:
    with pytest.raises(ConfigError):
        read_metres(text)


def test_a_dot_repeats() -> None:
    assert read_metres(".", 41.0) == 41.0
    assert read_pass(". 36", Pass(42.0, 38.0)) == Pass(42.0, 36.0)
    assert read_pass("./.", Pass(42.0, 38.0)) == Pass(42.0, 38.0)
    assert read_pass(".", Pass(42.0, 38.0)) == Pass(42.0, 38.0)


@pytest.mark.parametrize("text", ["42", "42/38/30", "", "42/far", ".", "./."])
def test_what_is_no_pass(text: str) -> None:
    with pytest.raises(ConfigError):
        read_pass(text)


@pytest.mark.parametrize(
    ("text", "name"),
    [(" Zoe\u0308  B ", "Zo\u00eb B"), ("Ирина", "Ирина"), ("李 雷", "李 雷"), ("ليلى", "ليلى")],
)
def test_names_in_any_script(text: str, name: str) -> None:
    assert a_name(text, "searcher") == name


@pytest.mark.parametrize("text", ["", "  ", "a\x07b", "x" * 61])
def test_what_is_no_name(text: str) -> None:
    with pytest.raises(ConfigError, match="no name of a searcher"):
        a_name(text, "searcher")


def test_what_is_kept_comes_back_and_the_newest_counts() -> None:
    events = [
        kept(1, "Ada", 40, 38, 41, 37, 42, 38),
        kept(2, "Ирина", 30, 28, 31, 27, 32, 28),
        kept(3, "ADA", 50, 48, 51, 47, 52, 48),
        kept(4, "Ada", 40, 38, 41, 37, 42, 38, ranges_m=[40.0]),
    ]
    tests = earlier(events)
    assert [test.found.searcher for test in tests] == ["Ada", "Ирина", "ADA"]
    assert tests[0].found == receive_range(
        "Ada", "three antennas", passes_of(40, 38, 41, 37, 42, 38)
    )
    last = newest(tests)
    assert len(last) == 2
    assert last["ada", "three antennas"].utc.startswith("2026-02-03")
