"""The page of a modelled search: its lines where the field has them, its words, its bytes."""

from __future__ import annotations

import dataclasses
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from matplotlib.contour import QuadContourSet
from matplotlib.figure import Figure
from matplotlib.patches import Polygon

from blindfield.debrief.picture_phases import LOOKS, phases_of, seconds_in
from blindfield.debrief.picture_samples import (
    displayed_at,
    field_at_places,
    strongest_at,
)
from blindfield.debrief.pictures import draw_picture, save
from blindfield.debrief.timeline import build_timeline
from blindfield.field.prints_ink import GREY
from blindfield.model.errors import NotReady
from blindfield.model.field import KeepOut
from blindfield.searcher.values import Phase, Problem, Source
from support import runs
from support.scenarios import small_field
from support.traces import made_problem, made_sources, made_trace

SEARCHER = "profile practised, seed 1"
SVG_TEXT = "{http://www.w3.org/2000/svg}text"


@pytest.fixture(scope="module")
def problem() -> Problem:
    return made_problem(digs=True)


@pytest.fixture(scope="module")
def page(problem: Problem) -> Figure:
    yours = build_timeline(runs.record(), runs.good_run())
    return draw_picture(problem, made_trace(problem), searcher=SEARCHER, yours=yours)


@pytest.fixture(scope="module")
def svg(page: Figure, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("svg") / "page.svg"
    save(page, path)
    return path


def words_of(path: Path) -> list[str]:
    return ["".join(one.itertext()) for one in ElementTree.parse(path).iter(SVG_TEXT)]


def test_every_phase_of_the_search_is_in_the_legend(page: Figure, problem: Problem) -> None:
    labels = [text.get_text() for text in page.legends[0].get_texts()]
    trace = made_trace(problem)
    present = phases_of(trace)
    assert Phase.EXCAVATION in present
    assert len(present) == 7
    for phase in present:
        seconds = seconds_in(trace, phase)
        assert f"{LOOKS[phase].words} {seconds // 60:.0f}:{seconds % 60:02.0f}" in labels
    assert "backup" not in " ".join(labels)


def test_phases_differ_without_their_colours() -> None:
    walked = [look for look in LOOKS.values() if not look.hatch]
    stood = [look for look in LOOKS.values() if look.hatch]
    assert len({(look.dashes) for look in walked}) == len(walked)
    assert len({look.hatch for look in stood}) == len(stood)


def test_rings_lie_where_their_distance_is_displayed(page: Figure) -> None:
    rings = next(one for one in page.axes[0].get_children() if isinstance(one, QuadContourSet))
    assert [level for level in rings.levels if level <= 20] == [3.0, 5.0, 10.0, 20.0]
    for level_m, lines in zip(rings.levels, rings.allsegs, strict=True):
        places = np.concatenate([line for line in lines if len(line)])
        assert displayed_at(made_sources(), places) == pytest.approx(level_m, abs=0.05)


def test_the_flux_lines_drawn_run_along_the_field(page: Figure) -> None:
    grey = next(line for line in page.axes[0].lines if line.get_color() == GREY)
    points = grey.get_xydata()
    steps, middles = np.diff(points, axis=0), (points[:-1] + points[1:]) / 2
    whole = ~np.isnan(steps).any(axis=1)
    assert whole.sum() > 1000
    steps, middles = steps[whole], middles[whole]
    fields = np.stack([field_at_places(one, middles) for one in made_sources()])[..., :2]
    along = fields[strongest_at(made_sources(), middles), np.arange(len(middles))]
    across = steps[:, 0] * along[:, 1] - steps[:, 1] * along[:, 0]
    sine = across / np.hypot(*steps.T) / np.hypot(*along.T)
    # Where it passes into the other target's part, a step may lie half there.
    assert np.mean(np.abs(sine) > 0.02) < 0.01


def test_the_ground_has_its_own_outline(problem: Problem) -> None:
    corners = ((0.0, 0.0), (50.0, 10.0), (40.0, 50.0))
    stream = KeepOut("stream", ((5.0, 5.0), (9.0, 5.0), (9.0, 9.0)))
    place = dataclasses.replace(small_field(), area_m=corners, keep_outs=(stream,))
    page = draw_picture(problem, made_trace(problem), searcher=SEARCHER, place=place)
    drawn = [one.get_xy()[:3].tolist() for one in page.axes[0].patches if isinstance(one, Polygon)]
    assert drawn == [[list(corner) for corner in one] for one in (corners, stream.corners_m)]
    assert page.legends[0].get_texts()[-1].get_text() == "kept out"


def test_the_words_of_an_svg_are_text(svg: Path) -> None:
    words = words_of(svg)
    for expected in (
        *("MODEL", "Two targets, both sending from the start", "metres along the width"),
        *("start", "Larch", "1.2 m deep", "10 m", "coarse search", "flux line", "strike"),
        *("yours", "model", "Larch  3:12.4", "displayed, m", "run time, min:s"),
    ):
        assert any(expected in one for one in words), expected


def test_the_same_page_gives_the_same_bytes_whatever_the_users_settings(
    svg: Path, problem: Problem, tmp_path: Path
) -> None:
    yours = build_timeline(runs.record(), runs.good_run())
    with matplotlib.rc_context({"font.size": 30, "svg.fonttype": "path", "axes.facecolor": "red"}):
        again = draw_picture(problem, made_trace(problem), searcher=SEARCHER, yours=yours)
        save(again, tmp_path / "again.svg")
        assert matplotlib.rcParams["font.size"] == 30  # and they are left alone
    content = svg.read_bytes()
    assert (tmp_path / "again.svg").read_bytes() == content
    assert b"dc:date" not in content


def test_a_png_is_a_page_of_a4(page: Figure, tmp_path: Path) -> None:
    path = tmp_path / "page.PNG"
    save(page, path)
    head = path.read_bytes()[:24]
    assert head[:8] == b"\x89PNG\r\n\x1a\n"
    assert (int.from_bytes(head[16:20]), int.from_bytes(head[20:24])) == (1240, 1753)


def test_names_of_any_kind_keep_the_file_whole(tmp_path: Path) -> None:
    names = ("a $x^2$ <&>", "\u96ea \x07\x1b")
    sources = (Source(names[0], 20, 20, 1.0, 10, 10), Source(names[1], 45, 49, 0.0, 0, -90))
    problem = made_problem(sources=sources)
    trace = dataclasses.replace(
        made_trace(), found={name: 60.0 * n for n, name in enumerate(names, 1)}, probes=()
    )
    save(draw_picture(problem, trace, searcher=SEARCHER), tmp_path / "odd.svg")
    words = " ".join(words_of(tmp_path / "odd.svg"))
    assert "a $x^2$ <&>" in words
    assert "\u96ea ??" in words


def test_a_search_that_found_nothing_can_be_drawn() -> None:
    trace = made_trace()
    still = dataclasses.replace(
        trace,
        **{
            name: getattr(trace, name)[:1]
            for name in ("run_s", "x_m", "y_m", "phase", "displayed_m", "arrow_deg", "followed")
        },
        probes=(),
        found={},
    )
    page = draw_picture(made_problem(), still, searcher=SEARCHER)
    texts = [text.get_text() for axes in page.axes for text in axes.texts]
    assert sum("not found" in text for text in texts) == 2
    assert "no find" in texts
    assert len(page.axes) == 3  # the plan, the distance and the lanes: no close-up


def test_an_open_run_and_an_empty_search_are_refused() -> None:
    trace = made_trace()
    yours = build_timeline(runs.record(is_open=True), runs.good_run())
    with pytest.raises(NotReady, match="still open"):
        draw_picture(made_problem(), trace, searcher=SEARCHER, yours=yours)
    with pytest.raises(ValueError, match="nothing to draw"):
        draw_picture(
            made_problem(), dataclasses.replace(trace, run_s=np.empty(0)), searcher=SEARCHER
        )
