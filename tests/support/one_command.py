"""One command module called as `main` would call it, in this process."""

from __future__ import annotations

import argparse
from types import ModuleType

import pytest

from blindfield.model.errors import BlindfieldError


def typed(
    module: ModuleType, capsys: pytest.CaptureFixture[str], *words: str
) -> tuple[int, str, str]:
    """(status, stdout, the sentence of a refusal)."""
    parser = argparse.ArgumentParser()
    module.add_arguments(parser)
    capsys.readouterr()
    try:
        status, error = module.run(parser.parse_args(words)), ""
    except BlindfieldError as refused:
        status, error = 1, str(refused)
    return status, capsys.readouterr().out, error
