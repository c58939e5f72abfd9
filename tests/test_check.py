"""The one check command runs every check and fails when any of them does."""

from __future__ import annotations

import pytest

import check

GOOD = ("platform",)  # a module of the standard library that runs and exits 0
BAD = ("platform.no_such_module",)


@pytest.mark.parametrize(
    ("commands", "code"), [((GOOD, GOOD), 0), ((BAD, GOOD), 1), ((GOOD, BAD), 1)]
)
def test_one_failed_check_fails_all_and_hides_none(
    commands: tuple[tuple[str, ...], ...],
    code: int,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    made_up = tuple(zip(("first", "last"), commands, strict=True))
    monkeypatch.setattr(check, "checks", lambda pytest_arguments: made_up)
    assert check.main([]) == code
    summary = capsys.readouterr().out.split("--\n")[-1].splitlines()
    said = [(line.split()[0], line.split()[1]) for line in summary]
    assert said == [(name, "ok" if command == GOOD else "FAILED") for name, command in made_up]


def test_the_four_checks_are_format_lint_types_and_tests_last() -> None:
    planned = check.checks(["-k", "x"])
    assert [name for name, _ in planned] == ["format", "lint", "types", "tests"]
    assert planned[-1][1][0] == "pytest"
    assert planned[-1][1][-2:] == ("-k", "x")
