"""Prints as files: the same bytes each time, over nothing of others, pages side by side."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from matplotlib.figure import Figure

from blindfield.field.prints_file import MADE_BY, content_of, write
from blindfield.model.errors import ConfigError


def page(text: str = "words") -> Figure:
    figure = Figure(figsize=(2, 1))
    figure.text(0.2, 0.5, text)
    return figure


@pytest.mark.parametrize("suffix", [".svg", ".pdf"])
def test_the_same_pages_give_the_same_bytes_without_a_date(suffix: str) -> None:
    first, again = (content_of("My title", [page(), page("more")], suffix) for _ in range(2))
    assert first == again
    assert len(first) == (2 if suffix == ".svg" else 1)
    for content in first:
        assert MADE_BY.encode() in content
        assert b"My title" in content
        assert b"Date" not in content
        assert b"<dc:date>" not in content


def test_a_pdf_has_all_pages_and_an_svg_one_each(tmp_path: Path) -> None:
    pages = [page("one"), page("two"), page("three")]
    assert write("t", pages, tmp_path / "a.pdf") == [tmp_path / "a.pdf"]
    assert (tmp_path / "a.pdf").read_bytes().count(b"/Type /Page ") == 3
    names = [path.name for path in write("t", pages, tmp_path / "a.svg")]
    assert names == ["a.svg", "a-2.svg", "a-3.svg"]
    assert "two" in (tmp_path / "a-2.svg").read_text()


@pytest.mark.parametrize("name", ["a.pdf", "a.svg"])
def test_ours_is_replaced_and_a_file_of_others_is_not(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    write("t", [page(), page()], path)
    before = path.read_bytes()
    write("t", [page("other"), page("other")], path)
    assert path.read_bytes() != before
    path.write_bytes(b"mine" * 50_000)
    with pytest.raises(ConfigError, match=r"no print of ours.*--out"):
        write("t", [page()], path)
    assert path.read_bytes() == b"mine" * 50_000


def test_nothing_is_written_when_a_later_page_would_hit_a_file_of_others(tmp_path: Path) -> None:
    (tmp_path / "a-2.svg").write_text("mine")
    with pytest.raises(ConfigError, match=r"a-2\.svg"):
        write("t", [page(), page()], tmp_path / "a.svg")
    assert [one.name for one in tmp_path.iterdir()] == ["a-2.svg"]


def test_the_mark_at_the_end_of_a_long_file_is_found(tmp_path: Path) -> None:
    many = [page(str(n) * 200) for n in range(20)]
    [path] = write("t", many, tmp_path / "a.pdf")
    content = path.read_bytes()
    assert content.index(MADE_BY.encode()) > 8192
    write("t", [page()], path)
    assert path.read_bytes() != content


def test_the_command_loads_matplotlib_when_it_draws_and_never_its_global_interface() -> None:
    script = (
        "import sys\n"
        "import blindfield.console.map\n"
        "assert 'matplotlib' not in sys.modules\n"
        "import blindfield.field.prints_file, blindfield.field.map_pages\n"
        "import blindfield.field.prints_sign, blindfield.field.prints_cards\n"
        "assert 'matplotlib.pyplot' not in sys.modules\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False, timeout=60
    )
    assert done.returncode == 0, done.stderr
