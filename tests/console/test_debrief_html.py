"""`blindfield debrief --html`: the page of a closed run, never while one is open."""

from __future__ import annotations

from pathlib import Path

import pytest

from blindfield.console import debrief
from blindfield.model.ids import run_id_text
from support.html_rules import faults, text_of
from support.practised import Practised

TICKS = (("strip_width_kept", "done"), ("bracketed", "missed"))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Practised:
    """Three runs of one drill, the last of them ticked."""
    here = Practised(tmp_path_factory.mktemp("three"), None)  # type: ignore[arg-type]
    here.runs((700.0, 560.0))
    here.run([180.0, 160.0], ticks=TICKS, standard="three_strikes")
    return here


@pytest.fixture
def bench(tmp_path: Path, capsys: pytest.CaptureFixture[str], made: Practised) -> Practised:
    here = Practised(tmp_path, capsys)
    here.like(made)
    return here


def test_the_page_of_the_last_run_holds_all_that_belongs_to_it(bench: Practised) -> None:
    path = bench.folder / "run.html"
    status, out, error = bench.command(debrief, "--html", str(path))
    assert (status, error) == (0, "")
    assert f"Wrote {path}: " in out.replace("\n", "")
    assert "not for whoever will search this field" in " ".join(out.split())
    page = path.read_text(encoding="utf-8")
    text = text_of(page)
    assert faults(page) == []
    assert len(page.encode()) <= 500_000
    for words in (
        "2 of 2 found within the limit of 10:00; the last at 5:40.0.",
        "500 modelled searches of this problem (a practised searcher)",
        "start to first 3:00",
        "One modelled search of the same problem (profile practised, seed 1)",
        "Strip width kept",
        "missed",
        "Met in 2 of the last 3 comparable runs.",
        "--drill pair --seed 3 --minutes 10",
    ):
        assert words in text
    for part in ("splits", "par", "timeline", "map", "distance", "steps", "trend"):
        assert f'<section id="{part}"' in page


def test_an_earlier_run_is_compared_with_those_before_it(bench: Practised) -> None:
    path = bench.folder / "first.html"
    status, _, error = bench.command(debrief, run_id(1), "--html", str(path))
    assert (status, error) == (0, "")
    assert "One comparable run so far: not met." in text_of(path.read_text("utf-8"))


def run_id(number: int) -> str:
    return run_id_text(b"prc" + number.to_bytes(5, "big"))


def test_with_json_the_words_go_elsewhere(bench: Practised) -> None:
    path = bench.folder / "run.html"
    status, out, error = bench.command(debrief, "--json", "--html", str(path))
    assert (status, error) == (0, "")
    assert out.lstrip().startswith("{")
    assert "Wrote" not in out
    assert path.is_file()


def test_while_a_run_is_open_there_is_no_page(bench: Practised) -> None:
    bench.run([], is_open=True)
    path = bench.folder / "run.html"
    for which in ((), (run_id(1),)):
        status, _, error = bench.command(debrief, *which, "--html", str(path))
        assert status == 1
        assert "stays blind until " in error
    assert not path.exists()


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("run.pdf", "Name a file that ends in .html."),
        ("nowhere/run.html", "run.html cannot be written"),
        ("field.toml", "Name a file that ends in .html."),
    ],
)
def test_a_file_that_cannot_serve_is_refused(bench: Practised, name: str, sentence: str) -> None:
    status, _, error = bench.command(debrief, "--html", str(bench.folder / name))
    assert status == 1
    assert sentence in error
