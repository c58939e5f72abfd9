"""Commands that only read and write a field's file and logbook: no devices, no loop."""

from __future__ import annotations

import builtins
import io
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from blindfield.console import main as command_line
from blindfield.field.as_built import AsBuilt, as_built
from blindfield.field.starter import starter_field_text
from blindfield.links.keyfile import new_key, read_key
from blindfield.logbook.book import Logbook
from blindfield.model.events import Event
from blindfield.model.field import Field
from support.logbook_kit import with_open_run
from support.scenarios import small_field


class FieldDesk:
    """A field's folder and the commands on it, one after the other."""

    def __init__(self, folder: Path, patch: pytest.MonkeyPatch, out: pytest.CaptureFixture[str]):
        self.place: Field = small_field(3, folder=folder)
        text = starter_field_text(self.place)
        (folder / "field.toml").write_text(text, encoding="utf-8")
        new_key(self.place.key_path)
        self._patch = patch
        self._out = out
        self.asked: list[str] = []

    def call(self, *words: str) -> tuple[int, str, str]:
        """(status, stdout, stderr)."""
        self._out.readouterr()
        status = command_line.main([*words, "--field", str(self.place.folder)])
        out, err = self._out.readouterr()
        assert "Traceback" not in out + err
        return status, out, err

    def types(self, *lines: str | BaseException | Callable[[str], str]) -> None:
        """Somebody sits at the terminal and types these, or what one says to the question; then
        the input ends."""
        waiting = iter(lines)

        def type_next(question: str = "") -> str:
            self.asked.append(question)
            line = next(waiting, EOFError())
            if isinstance(line, BaseException):
                raise line
            return line if isinstance(line, str) else line(question)

        self._patch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
        self._patch.setattr(builtins, "input", type_next)

    def pipes(self, text: str) -> None:
        """A program's output is the input."""
        self._patch.setattr(sys, "stdin", io.StringIO(text))

    def events(self) -> list[Event]:
        """What the logbook holds outside runs."""
        with self.logbook() as logbook:
            return logbook.events_of(None)

    def said(self, kind: str) -> list[dict[str, Any]]:
        return [event.data for event in self.events() if event.kind == kind]

    def built(self) -> AsBuilt:
        return as_built(self.place, self.events())

    def logbook(self) -> Logbook:
        return Logbook.open(self.place.logbook_path, field_key=read_key(self.place.key_path))

    def open_run(self) -> None:
        with self.logbook() as logbook:
            with_open_run(logbook)
