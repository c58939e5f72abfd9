"""The debrief as a page: whole, well formed, closed to the outside, legible."""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Callable
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

import pytest

from blindfield.debrief.html_file import save
from blindfield.debrief.html_page import FOLDER, KEEP_BACK, page
from blindfield.debrief.lanes import length_s
from blindfield.debrief.timeline import build_timeline
from blindfield.debrief.words import flag_text, honest_lines, span_text, verdict_text
from blindfield.model.errors import ConfigError, NotReady
from support import pages_told, runs
from support.html_rules import contrast, faults, read, text_of

MOST_BYTES = 500_000
HOSTILE = '</style><script>alert(1)</script><img src=x onerror="a()">\u202e&amp;\x00'
SCRIPTS = ("Ñandú", "Лиственница", "落葉松", "أرزة", "नीड़", "Ari\u200dna")


@pytest.fixture(scope="module")
def full() -> str:
    return page(pages_told.told())


def stopped_before_start() -> str:
    events = [runs.drawn(), runs.host("start_cancelled", -1.0, reason="one was not heard")]
    summed = runs.summary(outcome="interrupted", find_run_s=(), started_utc=None)
    return page(pages_told.bare(build_timeline(runs.record(summed), events)))


def nothing_found() -> str:
    events = [runs.drawn(), runs.started(), runs.host("closed", 900.0, outcome="not_met")]
    summed = runs.summary(outcome="not_met", find_run_s=())
    return page(pages_told.bare(build_timeline(runs.record(summed), events)))


def test_the_full_page_keeps_every_rule(full: str) -> None:
    assert faults(full) == []
    assert full.startswith("<!DOCTYPE html>")
    assert len(full.encode()) <= MOST_BYTES


@pytest.mark.parametrize("made", [stopped_before_start, nothing_found])
def test_a_page_of_a_run_with_nothing_to_show_keeps_them_too(made: Callable[[], str]) -> None:
    assert faults(made()) == []


@pytest.mark.parametrize(
    ("broken", "fault"),
    [
        ("<script>1</script>", "<script>"),
        ("<p>", "closes what is not open"),
        ('<p id="map"></p>', "id map is there 2 times"),
        ("<table><tr><th>a</th></tr></table>", "without scope"),
        ("<table><tr><td>a</td></tr><tr></tr></table>", "a row of 0 cells in 1"),
        ('<svg class="flow"></svg>', "without words"),
        ('<a href="page.html">a</a>', "leads to page.html"),
        ('<a href="#nowhere">a</a>', "nothing is called nowhere"),
        ('<p style="color: red"></p>', "style in <p>"),
        ('<p onclick="a()"></p>', "onclick in <p>"),
        ("<p>see http://example.invalid</p>", "http:"),
        ("<main></main>", "2 of <main>"),
    ],
)
def test_the_rules_can_be_broken(full: str, broken: str, fault: str) -> None:
    found = faults(full.replace("<footer>", f"{broken}<footer>"))
    assert any(fault in one for one in found), found


def test_it_says_all_that_the_run_says(full: str) -> None:
    told = pages_told.told()
    timeline, text = told.timeline, text_of(full)
    assert verdict_text(timeline) in text
    for find in timeline.finds:
        assert f"{find.number}. {find.target}" in text
        assert span_text(find.run_s) in text
        assert span_text(find.split_s) in text
    for sentence in (*map(flag_text, timeline.flags), *honest_lines(timeline), KEEP_BACK):
        assert sentence in text
    assert f"--seed {timeline.seed}" in text
    assert "first to second not in 2:28 longer longer" in text
    assert "The model found Larch at 6:30." in text
    assert "Met in 2 of the last 3 comparable runs." in text
    assert "Line of approach indicated, 5-7 m out ( Gully ) missed 5:00 Ari (own report)" in text


def test_what_a_run_lacks_is_left_out_or_said() -> None:
    text = text_of(nothing_found())
    assert "Nobody ticked a step" in text
    assert "No par for this run: none." in text
    for part in ("Splits", "Trend", "Against the standard", "What a receiver shows"):
        assert part not in text
    assert "What happened when" not in text_of(stopped_before_start())


def test_the_only_style_is_the_one_that_the_policy_names(full: str) -> None:
    (style,) = re.findall(r"<style>(.*?)</style>", full, flags=re.DOTALL)
    digest = b64encode(sha256(style.encode()).digest()).decode()
    assert f"default-src 'none'; style-src 'sha256-{digest}';" in full
    assert full.index("Content-Security-Policy") < full.index("<style>")


def everybody_is(name: str) -> str:
    events = pages_told.full_run(searcher=name, title=name, purpose=name, why=[name])
    events[0].data["scenario"]["start"]["name"] = name
    for data in (*(event.data for event in events), *events[0].data["scenario"]["targets"]):
        renamed(data, "Larch", name)
    return page(replace(pages_told.told(events), place=replace(pages_told.FIELD, name=name)))


def test_nobodys_name_becomes_part_of_the_page() -> None:
    hostile = everybody_is(HOSTILE)
    assert faults(hostile) == []
    assert read(hostile).tags == read(everybody_is("Plain")).tags
    assert "\u202e" not in hostile
    assert "\x00" not in hostile
    shown = HOSTILE.replace("\u202e", "\ufffd").replace("\x00", "\ufffd")
    assert text_of(hostile).count(shown) > 10


def renamed(data: dict[str, object], old: str, new: str) -> None:
    for key in ("device", "name", "target"):
        if data.get(key) == old:
            data[key] = new


@pytest.mark.parametrize("name", SCRIPTS)
def test_names_in_any_script_stand_as_they_are(name: str) -> None:
    text = page(pages_told.told(pages_told.full_run(searcher=name)))
    assert f"<bdi>{name}</bdi>" in text


def test_targets_for_other_runs_are_kept_back_unless_asked_for(full: str) -> None:
    assert "Spring" not in full
    assert "3 more lie in this field" in text_of(full)
    shown = page(replace(pages_told.told(), all_targets=True))
    assert "Spring" in shown
    assert faults(shown) == []


def test_a_run_that_is_open_has_no_page() -> None:
    open_run = build_timeline(runs.record(is_open=True), runs.good_run())
    with pytest.raises(NotReady, match="still open"):
        page(pages_told.bare(open_run))


def test_the_same_run_gives_the_same_page(full: str) -> None:
    assert page(pages_told.told()) == full


def colours(media: str) -> dict[str, str]:
    css = (FOLDER / "html_page.css").read_text(encoding="utf-8")
    blocks = {
        "light": css[: css.index("@media")],
        "dark": css[css.index("prefers-color-scheme: dark") : css.index("prefers-contrast")],
        "print": css[css.index("@media print") :],
    }
    return dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", blocks[media]))


@pytest.mark.parametrize("media", ["light", "dark", "print"])
def test_words_stand_out_from_what_they_stand_on(media: str) -> None:
    seen = colours(media)
    for ink in ("ink", "soft", "accent", "good", "bad"):
        for ground in ("page", "panel", "code"):
            assert contrast(seen[ink], seen[ground]) >= 7.0, (ink, ground)
    assert contrast(seen["line"], seen["page"]) >= 3.0  # what is drawn
    assert contrast(seen["ink"], seen["over"]) >= 7.0


def test_contrast_is_that_of_black_on_white() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)


def test_a_file_of_others_is_left_alone_and_ours_replaced(tmp_path: Path) -> None:
    path = tmp_path / "run.html"
    path.write_text("a letter")
    with pytest.raises(ConfigError, match="no page of ours"):
        save(pages_told.told(), path)
    assert path.read_text() == "a letter"
    path.unlink()
    size = save(pages_told.told(), path)
    assert path.stat().st_size == size == save(pages_told.told(), path)
    with pytest.raises(ConfigError, match=r"ends in \.html"):
        save(pages_told.told(), tmp_path / "run.pdf")


def test_what_is_drawn_stands_where_it_happened(full: str) -> None:
    timeline = pages_told.told().timeline
    whole_s = length_s(timeline)
    lane = full[full.index('id="timeline"') : full.index('id="map"')]
    (struck_s,) = [find.run_s.best for find in timeline.finds if find.target == "Larch"]
    assert struck_s is not None
    at = f'x="{100 * struck_s / whole_s:.2f}%"'
    assert re.search(rf'<svg {at} y="\d+" class="at"><path d="[^"]+" class="sign struck">', lane)
    low, high = (f"{100 * s / whole_s:.2f}%" for s in (266.0, 294.0))
    assert f'<line x1="{low}" x2="{high}" y1="40" y2="40" class="reach">' in lane


def test_a_strike_that_was_called_and_a_late_change_look_different() -> None:
    events = [event for event in pages_told.full_run() if event.data.get("device") != "Gully"]
    events += [
        runs.device("sends", "Gully", 440.0, 1, cue=0),
        runs.host("correction", 900.0, "person", verdict="counts", target="Gully", run_s=450.0),
    ]
    text = page(pages_told.told(events))
    assert 'class="sign called"' in text
    assert 'class="sign planned late"' in text
    assert "strike called, not felt" in text_of(text)
    assert "late, at 7:20.0 instead of 7:00.0" in text_of(text)
    assert faults(text) == []


def test_a_run_for_digging_alone_tells_of_its_pack() -> None:
    events = [
        runs.drawn(work="dig only", end_on="dug_out", targets=[]),
        runs.started(),
        runs.host("done", 151.3, "person"),
        runs.host("closed", 152.0, outcome="met"),
    ]
    summed = runs.summary(outcome="met", work="dig only", targets=1)
    text = page(pages_told.bare(build_timeline(runs.record(summed), events)))
    assert faults(text) == []
    assert "1. pack 2:31.3 2:31.3" in text_of(text)
    assert "Where they were" not in text
