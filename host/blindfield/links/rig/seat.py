"""One device of the rig as the rig sees it: its process, its body, what its carrier did."""

from __future__ import annotations

import asyncio
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

from blindfield.links.rig.body import BuriedBody
from blindfield.links.rig.player import Player
from blindfield.links.rig.process import DeviceProcess
from blindfield.links.sim.strikes import ACCELEROMETER, PLATE

CARRIER_HZ = 457_000
US_PER_S = 1_000_000
_KEYING_S = 1.4  # longer than any period of keying: no pulse for so long is no sending
_PPM_SPREAD = 30.0  # of common crystals


@dataclass
class Seat:
    """`about` is what the device's file says of it; a restart finds it as it was left."""

    name: str
    about: dict[str, Any]
    process: DeviceProcess
    body: BuriedBody
    player: Player
    carrier: list[tuple[float, int, float | None]] = field(default_factory=list)
    here: asyncio.Event = field(default_factory=asyncio.Event)
    shown: dict[str, int] = field(default_factory=lambda: {"light": 0, "horn": 0})
    off: str = ""
    """Why the device is off, when it is."""

    @property
    def device_id(self) -> bytes:
        return bytes.fromhex(self.about["device_id"])

    def told(self, message: Mapping[str, Any]) -> None:
        """Take in what the device says it does."""
        if message["is"] == "pulse":
            self.carrier.append((message["at"] / US_PER_S, message["periods"], None))
        elif message["is"] == "abort" and self.carrier:
            start_s, periods, _ = self.carrier[-1]
            self.carrier[-1] = (start_s, periods, message["at"] / US_PER_S)
        elif message["is"] in self.shown:
            self.shown[message["is"]] = message["pattern"]

    def power_gone(self, now_s: float) -> None:
        """A burst under way ends with its device."""
        if self.carrier:
            start_s, periods, aborted_s = self.carrier[-1]
            if aborted_s is None and now_s < start_s + periods / CARRIER_HZ:
                self.carrier[-1] = (start_s, periods, now_s)

    def sending(self, now_s: float) -> bool:
        """Whether its keyed carrier is on the air: a burst now, or one a keying period ago."""
        if not self.carrier or self.off:
            return False
        start_s, _, aborted_s = self.carrier[-1]
        return aborted_s is None and now_s < start_s + _KEYING_S

    def facts(self, now_s: float) -> dict[str, Any]:
        """What there is to say of it now; values that JSON knows."""
        return {
            "name": self.name,
            "port": str(self.process.port),
            "pid": self.process.pid,
            "off": self.off,
            "link": self.about["link"],
            "battery_mv": self.about["battery_mv"],
            "ppm": self.about["ppb"] / 1000,
            "sending": self.sending(now_s),
            "lifted": self.body.lifted,
            **self.shown,
        }


def about_of(folder: Path, name: str, role: int, key: bytes, rng: Random) -> dict[str, Any]:
    """A new device's description. Its number stays the same in a folder, and differs elsewhere."""
    number = hashlib.sha256(b"rig device\0" + key + name.encode()).digest()[:8]
    return {
        "name": name,
        "device_id": number.hex(),
        "role": role,
        "channels": 0 if role else ACCELEROMETER | PLATE,
        "battery_mv": 4000,
        "phase_us": rng.getrandbits(30),
        "ppb": round(1000 * rng.uniform(-_PPM_SPREAD, _PPM_SPREAD)),
        "link": True,
        "store": str(folder / "flash.bin"),
        "settings": str(folder / "settings.bin"),
    }
