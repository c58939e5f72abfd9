"""The examples run, and the README's picture is what the demo shows today."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

EXAMPLES = Path(__file__).resolve().parents[2] / "host" / "examples"


def example(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, EXAMPLES / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_readmes_picture_is_todays_demo() -> None:
    maker = example("make_demo_svg")
    assert maker.picture() == maker.PICTURE.read_text(encoding="utf-8")
