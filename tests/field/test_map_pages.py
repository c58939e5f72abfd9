"""The map: what it tells, where it draws it, and that the blind one tells nothing."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import pytest
from matplotlib.figure import Figure
from matplotlib.text import Annotation

from blindfield.field.as_built import AsBuilt, as_built
from blindfield.field.map_ground import outward
from blindfield.field.map_pages import blind_map, full_map
from blindfield.field.map_table import antenna_words, row_of, two_pegs
from blindfield.field.pegs import pegs_of
from blindfield.field.prints_file import content_of
from blindfield.model.events import Event
from blindfield.model.field import Field, Georeference, KeepOut, StartPoint, Target
from support.drill_fields import wide_field
from support.pages import faults_of, signs_on, words_on

BAND_M = (0.0, 1.0)
L_SHAPE = ((5.0, 0.0), (50.0, 0.0), (50.0, 20.0), (25.0, 20.0), (25.0, 50.0), (5.0, 50.0))


def event(kind: str, **data: object) -> Event:
    return Event(
        kind=kind,
        source="person",
        host_epoch=bytes(8),
        utc="2026-02-03T09:00:00.000000Z",
        data=data,
    )


HAPPENED = (
    event("placed", device="1", x_m=6.2, y_m=5.8, sigma_m=0.1, azimuth_deg=90.0, tilt_deg=10.0),
    event("depth", device="1", depth_m=0.95, means="probed"),
    event("snow", change_m=0.1),
    event("state", device="4", state="dug out"),
    event("state", device="5", state="frozen in"),
    event("state", device="6", state="dug out"),
    event("state", device="6", state="put back"),
)


@lru_cache
def built() -> AsBuilt:
    place = replace(
        wide_field(),
        keep_outs=(KeepOut("stream", ((32.0, 16.0), (44.0, 16.0), (44.0, 24.0))),),
        georeference=Georeference(45.0, -30.0, 20.0),
    )
    return as_built(place, HAPPENED)


@pytest.fixture(scope="module")
def full() -> list[Figure]:
    return full_map(built())


@pytest.fixture(scope="module")
def blind() -> list[Figure]:
    return blind_map(built().field)


def text_of(pages: Sequence[Figure]) -> list[str]:
    return [text for page in pages for text, _ in words_on(page)]


def test_the_full_map_tells_depths_states_dates_and_pegs(full: list[Figure]) -> None:
    told = text_of(full)
    assert "MAP FOR WHOEVER DIGS" in told
    for words in ("1\n1.05 m", "4\ndug out", "5\n0.90 m\nfrozen in", "6\n?\nput back", "2\n1.00 m"):
        assert words in told
    for cell in ("2026-02-03 probed", "+0.10", "90°, 10° up", "6.2, 5.8", "11.0, 8.0*"):
        assert cell in told
    assert "Mind: too deep" in told
    assert any("A-C 70.71" in text for text in told)
    assert any(text.startswith("As entered up to 2026-02-03") for text in told)
    assert {"A", "B", "C", "D", "N", "stream", "south flag", "5 m, one square"} <= set(told)


def test_words_are_neither_cut_off_nor_over_each_other_nor_over_signs(
    full: list[Figure], blind: list[Figure]
) -> None:
    assert [fault for page in (*full, *blind) for fault in faults_of(page)] == []


def test_a_crowded_field_of_odd_shape_with_long_names_stays_legible() -> None:
    targets = tuple(
        Target(f"{n:02d} under the crooked old larch", bytes(8), *at_m, 0.5, 20.0 * n, 0.0)
        for n, at_m in enumerate(
            [(8.0, 3.0), (20.0, 6.0), (35.0, 4.0), (47.0, 9.0), (30.0, 15.0), (43.0, 17.0),
             (9.0, 14.0), (20.0, 22.0), (7.0, 27.0), (16.0, 33.0), (8.0, 41.0), (21.0, 45.0)]
        )
    )  # fmt: skip
    starts = (StartPoint("by the gate of the upper meadow", 5.0, 25.0),)
    place = replace(wide_field(), area_m=L_SHAPE, targets=targets, start_points=starts)
    pages = full_map(as_built(place, []))
    assert [fault for page in pages for fault in faults_of(page)] == []
    assert len(pages) == 2  # the table would squeeze the map
    told = text_of(pages)
    assert all(target.name in told for target in targets)


def test_the_blind_map_has_the_ground_and_no_target(blind: list[Figure]) -> None:
    told = text_of(blind)
    assert {"MAP FOR WHOEVER SEARCHES", "A", "B", "C", "D", "west flag", "stream"} <= set(told)
    assert not [text for text in told if re.search(r"\d\.\d|deep|dug|antenna|frozen", text)]
    assert len(signs_on(blind[0])) == len(pegs_of(built().field)) + 4


@pytest.mark.parametrize("suffix", [".svg", ".pdf"])
def test_the_blind_file_is_the_same_whatever_lies_in_the_field(
    blind: list[Figure], suffix: str
) -> None:
    place = built().field
    before = content_of("map", blind, suffix)
    other = replace(place, targets=(*place.targets[:1], replace(place.targets[1], depth_m=0.1)))
    assert content_of("map", blind_map(other), suffix) == before


def test_a_moved_start_changes_the_blind_file(blind: list[Figure]) -> None:
    place = replace(built().field, start_points=(StartPoint("south flag", 20.0, 0.0),))
    assert content_of("map", blind_map(place), ".svg") != content_of("map", blind, ".svg")


def test_arrows_point_as_the_antenna_lies_and_signs_stand_on_their_places(
    full: list[Figure],
) -> None:
    axes = full[0].axes[0]
    arrows = [one for one in axes.texts if isinstance(one, Annotation)]
    at_target = [one for one in arrows if one.xyann[1] == pytest.approx(5.8)]
    assert len(at_target) == 1
    (x_m, y_m), (from_x_m, _) = at_target[0].xy, at_target[0].xyann
    assert y_m == pytest.approx(5.8)  # azimuth 90 is along x
    assert x_m - 6.2 == pytest.approx(6.2 - from_x_m)
    assert x_m > 6.2
    marks = [tuple(line.get_xydata()[0]) for line in axes.get_lines() if line.get_marker() == "o"]
    assert (6.2, 5.8) in marks
    assert (18.0, 30.0) in marks


def test_only_black_white_and_grey_are_printed(full: list[Figure]) -> None:
    [svg] = content_of("map", full, ".svg")
    colours = set(re.findall(r"#([0-9a-f]{6})\b", svg.decode()))
    assert len(colours) >= 3
    assert {c for c in colours if not c[:2] == c[2:4] == c[4:]} == set()


def test_a_row_says_what_is_not_known() -> None:
    rows = {one.name: row_of(built().field, one, BAND_M) for one in built().targets}
    assert (rows["6"].depth, rows["6"].known, rows["6"].notes) == ("?", "–", "depth unknown")
    assert (rows["4"].depth, rows["4"].snow) == ("out", "")
    assert (rows["2"].depth, rows["2"].known, rows["2"].snow) == ("1.00 m", "field file", "+0.10")
    assert row_of(built().field, built().targets[0], (0.0, 1.5)).notes == ""


def test_two_pegs_cross_well_and_their_lengths_are_true() -> None:
    place = replace(wide_field(), targets=(Target("1", bytes(8), 30.0, 40.0, 0.5),))
    [one] = as_built(place, []).targets
    (first, first_m), (second, second_m) = two_pegs(place, one)
    lengths = {"A": 50.0, "B": 44.721, "C": 22.361, "D": 31.623}
    assert first_m == pytest.approx(lengths[first], abs=1e-3)
    assert second_m == pytest.approx(lengths[second], abs=1e-3)
    assert {first, second} == {"B", "C"}  # those two cross at a right angle


@pytest.mark.parametrize(
    ("azimuth_deg", "tilt_deg", "words"),
    [
        (None, None, "not noted"),
        (None, 90.0, "upright"),
        (360.0, 0.0, "0°"),
        (44.6, -29.6, "45°, 30° down"),
        (200.0, None, "200°"),
        (10.0, -80.0, "upright"),
    ],
)
def test_the_antenna_in_words(
    azimuth_deg: float | None, tilt_deg: float | None, words: str
) -> None:
    assert antenna_words(azimuth_deg, tilt_deg) == words


@pytest.mark.parametrize(
    ("area_m", "at_m", "out"),
    [
        ((), (25.0, 0.0), (0.0, -1.0)),
        ((), (50.0, 25.0), (1.0, 0.0)),
        ((), (25.0, 25.0), None),
        (L_SHAPE, (25.0, 40.0), (1.0, 0.0)),
        (L_SHAPE[::-1], (25.0, 40.0), (1.0, 0.0)),
    ],
)
def test_the_run_in_lies_outside(
    area_m: tuple[tuple[float, float], ...],
    at_m: tuple[float, float],
    out: tuple[float, float] | None,
) -> None:
    place: Field = replace(wide_field(), area_m=area_m)
    found = outward(place, StartPoint("flag", *at_m))
    assert found == (None if out is None else pytest.approx(out))
