"""README.md opens with the job and exactly two commands, each one line."""

from __future__ import annotations

import pytest

from support.readme import README, commands

INSTALL = "python3 -m venv .venv && .venv/bin/pip install -q -e "


def promised() -> dict[str, str]:
    return commands(README.read_text(encoding="utf-8"))


def test_the_first_command_installs_and_runs_the_demo() -> None:
    assert promised()["demo"] == f"{INSTALL}. && .venv/bin/blindfield demo"


def test_the_second_command_installs_and_runs_every_check() -> None:
    assert promised()["test"] == f"{INSTALL}'.[test]' && .venv/bin/python tests/check.py"


def test_the_job_comes_before_the_commands() -> None:
    lines = README.read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("# Blindfield")
    fence = next(at for at, line in enumerate(lines) if line.startswith("```"))
    assert len(" ".join(lines[1:fence]).split()) >= 20


TWO = "# X\n\nWords.\n\n```sh\na && b\n```\n\n```\nc\n```\n\n## More\n\n```\nd\n```\n"


def test_blocks_after_the_first_heading_do_not_count() -> None:
    assert commands(TWO) == {"demo": "a && b", "test": "c"}


@pytest.mark.parametrize(
    "text",
    [
        "",
        "# X\n\n```\na\n```\n\n## More\n\n```\nb\n```\n",
        TWO.replace("## More", "More"),
        TWO.replace("a && b", "a\nb"),
        TWO.replace("a && b", ""),
    ],
    ids=["nothing", "one", "three", "two lines", "empty"],
)
def test_any_other_shape_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"README\.md"):
        commands(text)
