from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from blindfield.logbook.book import Logbook
from support.logbook_kit import KEY


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "logbook.sqlite"


@pytest.fixture
def book(path: Path) -> Iterator[Logbook]:
    with Logbook.open(path, field_key=KEY, busy_s=0.05) as opened:
        yield opened
