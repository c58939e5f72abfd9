"""Strict mode: with BLINDFIELD_STRICT=1, or in CI, nothing that did not run counts as passed."""

from __future__ import annotations

import os
from typing import NoReturn

import pytest


def strict() -> bool:
    """BLINDFIELD_STRICT says 1 or 0; where it says nothing, whether this is CI."""
    said = os.environ.get("BLINDFIELD_STRICT")
    return said == "1" if said else bool(os.environ.get("CI"))


def absent(reason: str) -> NoReturn:
    """Leave a test whose rig is absent: skipped at a desk, failed in strict mode."""
    if strict():
        pytest.fail(f"absent, and strict mode wants it: {reason}", pytrace=False)
    pytest.skip(reason)


class NoSkips:
    """pytest plugin: a session in which anything was skipped fails, and says what."""

    def __init__(self) -> None:
        self.skipped: list[str] = []

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.skipped and not hasattr(report, "wasxfail"):
            self.skipped.append(report.nodeid)

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.skipped:
            self.skipped.append(report.nodeid)

    @pytest.hookimpl(tryfirst=True)
    def pytest_sessionfinish(self, session: pytest.Session) -> None:
        # tryfirst: the terminal prints its closing line from the status it finds
        if self.skipped and session.exitstatus in (pytest.ExitCode.OK, 5):
            session.exitstatus = pytest.ExitCode.TESTS_FAILED

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        for nodeid in self.skipped:
            terminalreporter.write_line(f"STRICT: skipped, so the session fails: {nodeid}")
