"""A rig whose devices all hang on one shared pair of wires."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from random import Random
from typing import Any

from blindfield.links.rig.joint import Joint
from blindfield.links.rig.rig import Rig
from blindfield.links.rig.seat import US_PER_S, Seat
from blindfield.model.field import Field


class BusRig(Rig):
    """See Rig. A host reaches the pair at ports/bus. `noise`: the chance of a byte to be garbled.

    These devices have no radio: of each other they hear the break that a post holds, and no more.
    """

    on_bus = True

    def __init__(
        self,
        folder: Path,
        targets: int = 6,
        posts: int = 1,
        seed: int = 1,
        field_text: Callable[[Field], str] | None = None,
        *,
        noise: float = 0.0,
        **more: Any,
    ) -> None:
        super().__init__(folder, targets, posts, seed, field_text, **more)
        self._joint = Joint(self.folder / "ports" / "bus", Random(f"{seed} pair"), noise)

    @property
    def url(self) -> str:
        return f"bus:{self._joint.port}"

    async def start(self) -> None:
        self.prepare()
        self._joint.open()
        try:
            await super().start()
        except BaseException:
            self._joint.close()
            raise

    async def stop(self) -> None:
        self._joint.close()
        await super().stop()

    def port(self, target: str) -> Path:
        """All devices have the same."""
        self._seat(target)
        return self._joint.port

    def state(self) -> list[dict[str, Any]]:
        port = str(self._joint.port)
        return [
            {**facts, "port": port, "babbles": self._joint.taps[facts["name"]].babbles}
            for facts in super().state()
        ]

    # What happens to the wires

    def babble(self, target: str, on: bool = True) -> None:
        """The device's driver sends junk without being asked, with short rests."""
        self._joint.taps[self._seat(target).name].set_babbling(on)

    def noise(self, chance: float) -> None:
        """The chance of each byte on the pair to be garbled."""
        self._joint.pair.noise = chance

    # Inside

    def _make_seat(self, *how: Any) -> Seat:
        seat = super()._make_seat(*how)

        def on_break(hold_s: float) -> None:
            self._bench.tell(seat.name, {"do": "break", "us": round(hold_s * US_PER_S)})

        self._joint.join(seat.name, seat.process.line, on_break)
        return seat

    def _port_of(self, word: str) -> Path:
        # No single device has a port that a host could open.
        return self.folder / "devices" / word / "line"

    def _on_told(self, name: str, message: Mapping[str, Any]) -> None:
        if message["is"] == "break":
            self._joint.taps[name].hold_low(message["us"] / US_PER_S)
        else:
            super()._on_told(name, message)
