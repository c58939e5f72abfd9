"""Commands as a user types them, inside the test's process: simulated targets, virtual time.

What a process of its own must show (signals, a kill, two commands side by side) is tested with
`support.typed` instead.
"""

from __future__ import annotations

import asyncio
import builtins
import sys
from collections.abc import Callable, Coroutine, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from blindfield.console.main import main
from blindfield.drills.catalogue import drill_named
from blindfield.drills.draw import draw
from blindfield.field.starter import starter_field_text
from blindfield.links.channel import Medium
from blindfield.links.keyfile import new_key, read_key
from blindfield.links.sim.field import SimField, sim_field_of
from blindfield.links.virtual_time import VirtualLoop
from blindfield.model.field import Field
from fieldcore.device import Device
from support.scenarios import small_field

SIM_SEED = 5  # of strokes the detector misses some 5 in 1000; not those drawn by this seed
Script = Callable[[], Coroutine[Any, Any, None]]


class InProcess:
    """A field's folder, its simulated devices, and the commands on it, one after the other.

    Devices live on while no command runs, but time then stands still. `media`: what each of the
    field's URLs opens.
    """

    def __init__(self, folder: Path, patch: pytest.MonkeyPatch, out: pytest.CaptureFixture[str]):
        self.place = small_field(3, folder=folder)
        self.write(self.place)
        new_key(self.place.key_path)
        self.sim: SimField = sim_field_of(self.place, read_key(self.place.key_path), seed=SIM_SEED)
        self.media: dict[str, Callable[[], Medium]] = {"sim:": self.sim.medium}
        self._out = out
        self._patch = patch
        self._script: Script | None = None
        self._runner = asyncio.Runner(loop_factory=VirtualLoop)
        patch.setattr(asyncio, "run", self._run)
        for module in ("desk", "silence"):
            patch.setattr(f"blindfield.console.{module}.open_medium", self._open)

    def write(self, place: Field) -> None:
        """The field's file, as of now."""
        path = place.folder / "field.toml"
        path.write_text(starter_field_text(place), encoding="utf-8")

    def call(self, *words: str, script: Script | None = None) -> tuple[int, str, str]:
        """(status, stdout, stderr). `script` goes on beside the command's first use of the
        devices, and must have ended when that has."""
        self._script = script
        self._out.readouterr()
        status = main([*words, "--field", str(self.place.folder)])
        out, err = self._out.readouterr()
        assert "Traceback" not in out + err
        return status, out, err

    def run(self, *words: str, script: Script | None = None) -> tuple[int, str, str]:
        return self.call("run", "--cautions-read", *words, script=script)

    def answers(self, *answers: str | Callable[[], str]) -> None:
        """Somebody sits at the terminal and types these, one after the other."""
        waiting = iter(answers)

        def type_next(_question: str = "") -> str:
            text = next(waiting)
            return text if isinstance(text, str) else text()

        self._patch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
        self._patch.setattr(builtins, "input", type_next)

    def in_play(self, kind: str, seed: int) -> list[str]:
        """The names that this drill with this seed has in play."""
        scenario = draw(self.place, drill_named(kind), seed=seed, time_limit_s=600.0)
        return [part.name for part in scenario.in_play]

    async def until_sending(self) -> None:
        before = self.bursts()
        while self.bursts() == before:
            await asyncio.sleep(0.1)

    def seen(self) -> str:
        """What the command under way has printed so far; `call` gives only what follows."""
        return "".join(self._out.readouterr())

    def cores(self) -> list[Device]:
        """Of the devices that are on."""
        return [device.core for device in self.sim.devices.values() if device.core]

    def bursts(self) -> int:
        """How many pulses of carrier there have been, on all targets together."""
        return sum(len(device.board.carrier) for device in self.sim.devices.values())

    def silent(self) -> bool:
        """No carrier for two keying periods to come."""

        async def watch() -> bool:
            before = self.bursts()
            await asyncio.sleep(2.6)
            return self.bursts() == before and not any(map(self.sim.sending, self.targets))

        return self._runner.run(watch())

    def let(self, act: Script) -> None:
        """Something happens while no command runs."""
        self._runner.run(act())

    @property
    def targets(self) -> list[str]:
        return [target.name for target in self.place.targets]

    def close(self) -> None:
        async def stop() -> None:
            self.sim.stop()

        self._runner.run(stop())
        self._runner.close()

    def _open(self, url: str, folder: Path, **_: Any) -> Medium:
        return self.media[url]()

    def _run(self, work: Coroutine[Any, Any, Any]) -> Any:
        script, self._script = self._script, None
        if script is None:
            return self._runner.run(work)

        async def both() -> Any:
            # The command is the outer task, as under asyncio.run: Ctrl-C cancels that one.
            beside = asyncio.create_task(script())
            try:
                return await work
            finally:
                if not beside.done():
                    beside.cancel()
                await asyncio.gather(beside, return_exceptions=True)
                if not beside.cancelled() and beside.exception():
                    raise beside.exception()  # type: ignore[misc]

        return self._runner.run(both())


@contextmanager
def commands(folder: Path, out: pytest.CaptureFixture[str]) -> Iterator[InProcess]:
    with pytest.MonkeyPatch.context() as patch:
        here = InProcess(folder, patch, out)
        try:
            yield here
        finally:
            here.close()
