"""What every test runs under: seeds, hypothesis, strictness, a home of its own."""

from __future__ import annotations

import os
import random
import zlib
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, settings

from support.strict import NoSkips, strict

# No deadline and no health check by the clock: a busy machine is not a failure.
_COMMON = settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("desk", _COMMON)
settings.register_profile("ci", _COMMON, derandomize=True, database=None, print_blob=True)


def pytest_configure(config: pytest.Config) -> None:
    if not config.getoption("--hypothesis-profile", default=None):
        settings.load_profile("ci" if os.environ.get("CI") or strict() else "desk")
    if strict():
        config.pluginmanager.register(NoSkips(), "no-skips")


def pytest_runtest_setup(item: pytest.Item) -> None:
    random.seed(zlib.crc32(item.nodeid.encode()))


@pytest.fixture(scope="session", autouse=True)
def _scratch_home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """No test, nor a process it starts, reads or writes the developer's own logbook or keys."""
    home = tmp_path_factory.mktemp("home")
    with pytest.MonkeyPatch.context() as patch:
        for name in ("DATA", "CONFIG", "STATE", "CACHE"):
            patch.setenv(f"XDG_{name}_HOME", str(home / name.lower()))
        yield
