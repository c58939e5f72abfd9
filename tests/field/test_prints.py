"""Sign, cards and count sheet: what stands on them, and that it fits."""

from __future__ import annotations

from dataclasses import replace

import pytest

from blindfield.field.prints_cards import cards
from blindfield.field.prints_count import count_sheet
from blindfield.field.prints_page import LEAST_PT, Page, fitted, text_width_in, wrapped
from blindfield.field.prints_sign import sign
from blindfield.field.staking import staking_sheet
from blindfield.model.field import Post, Target
from support.drill_fields import wide_field
from support.pages import faults_of, words_on


def test_the_sign_warns_and_leaves_lines_to_fill_in() -> None:
    [page] = sign("Larch Hollow")
    told = " ".join(text for text, _ in words_on(page))
    for words in ("TRANSMITTERS ARE BURIED HERE", "DO NOT DIG", "five times", "blindfield silence",
                  "IN AN ACCIDENT", "Emergency call:", "Larch Hollow", "never rescue"):  # fmt: skip
        assert words in told
    assert told.count("Phone") == 2
    assert faults_of(page) == []


def test_the_sign_tells_whom_to_call_in_full() -> None:
    calls = ["Ada Ashwood, at the hut, 555 0100", "Ben Birch, 555 0101", "Cy, 555 0102 " + "x" * 60]
    [page] = sign("A long name of a field, 32 chars", calls, "555 0199")
    told = [text for text, _ in words_on(page)]
    assert set(calls[:2]) <= set(told)
    assert "Emergency call: 555 0199" in told
    assert "Phone" not in told
    assert faults_of(page) == []


def test_every_hole_has_a_card_with_depth_tapes_and_how_it_lies() -> None:
    name = "under the crooked old larch tree"
    place = wide_field(targets=4)
    lying = replace(place.targets[0], antenna_azimuth_deg=45.0, antenna_tilt_deg=-10.0, name=name)
    place = replace(place, targets=(lying, *place.targets[1:]))
    sheet = staking_sheet(place, decoys=1, seed=3)
    pages = cards(place, sheet)
    assert len(pages) == 2
    assert [fault for page in pages for fault in faults_of(page)] == []
    told = [text for page in pages for text, _ in words_on(page)]
    joined = " ".join(told)
    assert "Antenna to 45 deg from the y axis, clockwise; 10 deg down at that end." in joined
    assert name in joined
    for card in sheet.cards:
        assert f"Card {card.number} of 5" in told
        assert f"{card.depth_m:.2f} m deep" in told
        assert {f"{length.length_m:.2f} m" for length in card.arcs} <= set(told)
        assert card.check is not None
        assert f"Check {card.check.origin}" in told
    assert told.count("decoy pit") == 1
    assert told.count("Really: depth") == 4


def test_no_cards_are_no_pages() -> None:
    place = replace(wide_field(), targets=())
    assert cards(place, staking_sheet(place)) == []


def test_the_count_sheet_lists_every_device_and_no_place() -> None:
    place = replace(wide_field(), posts=(Post("start post by the old larch, south", bytes(8)),))
    [page] = count_sheet(place)
    told = [text for text, _ in words_on(page)]
    assert {target.name for target in place.targets} <= set(told)
    assert {"OUT", "IN", "Time", "Who", "Battery V", "Silent", "…0708"} <= set(told)
    assert "start post by the" in " ".join(told)
    assert not [text for text in told if "0.7" in text or "44" in text]
    assert faults_of(page) == []


def test_a_very_long_count_sheet_goes_on_overleaf() -> None:
    many = tuple(Target(f"t{n}", bytes(8), 1.0, 1.0, 0.5) for n in range(50))
    pages = count_sheet(replace(wide_field(), targets=many))
    assert len(pages) == 2
    told = {text for page in pages for text, _ in words_on(page)}
    assert {target.name for target in many} <= told
    assert faults_of(pages[0]) == []


def test_the_look_at_a_page_finds_what_is_wrong() -> None:
    page = Page()
    page.write(1.0, 5.0, "these words", 20.0)
    assert faults_of(page.figure) == []
    page.write(1.2, 5.1, "and those", 20.0)
    page.write(7.0, 3.0, "much too far to the right", 20.0)
    axes = page.axes(0.0, 0.0, *page.size_in)
    axes.set_xlim(0.0, page.size_in[0])
    axes.set_ylim(0.0, page.size_in[1])
    axes.plot(1.6, 5.05, marker="o")
    found = [fault.split(":")[0] for fault in faults_of(page.figure)]
    assert sorted(set(found)) == ["cut off", "over a sign", "over each other"]


def test_words_are_made_to_fit() -> None:
    assert fitted("short", 12.0, 5.0) == ("short", 12.0)
    smaller, points = fitted("not so short", 12.0, 0.8)
    assert smaller == "not so short"
    assert LEAST_PT <= points < 12.0
    cut, points = fitted("much too long for that" * 3, 12.0, 0.8)
    assert cut.endswith("…")
    assert text_width_in(cut, points) <= 0.8
    assert wrapped("one two  three", 12.0, 0.75) == ["one two", "three"]
    broken = wrapped("x" * 60, 12.0, 1.0)
    assert "".join(broken) == "x" * 60
    assert max(text_width_in(line, 12.0) for line in broken) <= 1.0


@pytest.mark.parametrize("bold", [False, True])
def test_a_width_is_never_less_than_that_of_the_type(bold: bool) -> None:
    """DejaVu Sans, which is what we set: its M is 0.863 em wide, bold 0.995."""
    em = 0.995 if bold else 0.863
    assert 1.0 <= text_width_in("M" * 40, 72.0, bold=bold) / (40 * em) < 1.05
