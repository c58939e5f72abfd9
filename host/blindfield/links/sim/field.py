"""A field of simulated devices inside the program, on the running loop's time."""

from __future__ import annotations

import asyncio
import hashlib
import math
from collections.abc import Iterable
from dataclasses import dataclass
from random import Random
from typing import TYPE_CHECKING

from blindfield.links.sim.bench import KNOCK_STRENGTH, MANNERS, Manner
from blindfield.links.sim.board import POST, TARGET, Burst, SimBoard
from blindfield.links.sim.device import SimDevice
from blindfield.links.sim.line import SimLine
from blindfield.model.errors import ConfigError
from blindfield.model.field import DEVICE_ID_BYTES, Field

if TYPE_CHECKING:
    from blindfield.links.sim.medium import SimMedium

PPM_SPREAD = 30.0
"""Of common crystals, either way; assumed, no source."""

AIR_RANGE_M = 100.0
"""How far an advertisement is heard through snow; assumed, no source."""

AIR_REPEATS_S = (0.0, 0.15, 0.4)
_AIR_DELAY_S = (0.001, 0.03)  # a listener's scan window; assumed


@dataclass(frozen=True)
class Seat:
    """A device to be made. Without a place (x_m, y_m) it hears everyone and is heard."""

    name: str
    role: int = TARGET
    device_id: bytes | None = None
    place: tuple[float, float] | None = None


def practice_seats(targets: int = 6, posts: int = 1) -> list[Seat]:
    """Targets 1, 2, ... and the post (post-2, ...)."""
    seats = [Seat(str(number + 1)) for number in range(targets)]
    return seats + [Seat("post" if n == 0 else f"post-{n + 1}", POST) for n in range(posts)]


def sim_key(seed: int) -> bytes:
    """The field key of simulated devices to which nobody gave one. No secret."""
    return hashlib.sha256(b"sim key\0%d" % seed).digest()


def sim_device_id(seed: int, number: int) -> bytes:
    """The id of the `number`-th simulated device, from 0."""
    return hashlib.sha256(b"sim device\0%d\0%d" % (seed, number)).digest()[:DEVICE_ID_BYTES]


class SimField:
    """A bench (`links.sim.bench.Bench`) of devices that run in this process.

    Everything that is drawn comes from `seed`. `start()` powers the devices on, which needs a
    running loop; the medium and the bench's acts do it too. `devices` by name, for what the
    bench does not offer: a line's `loss`, `doubling`, `delay_s`, a device's `lateness_s`.
    """

    def __init__(
        self,
        seats: Iterable[Seat],
        *,
        seed: int = 1,
        key: bytes | None = None,
        ppm_spread: float = PPM_SPREAD,
    ) -> None:
        self.seed = seed
        self.key = sim_key(seed) if key is None else key
        self.air_range_m = AIR_RANGE_M
        self.air_loss = 0.0
        self.devices: dict[str, SimDevice] = {}
        self._places: dict[str, tuple[float, float] | None] = {}
        self._rng = Random(f"{seed} air")
        self._started = False
        for number, seat in enumerate(seats):
            self._places[seat.name] = seat.place
            self.devices[seat.name] = self._make(seat, number, ppm_spread)

    def _make(self, seat: Seat, number: int, ppm_spread: float) -> SimDevice:
        rng = Random(f"{self.seed} {seat.name}")
        board = SimBoard(
            seat.device_id or sim_device_id(self.seed, number),
            seat.role,
            self.key,
            Random(rng.random()),
            _loop_time,
            rng.uniform(-ppm_spread, ppm_spread),
        )

        def on_advertise(data: bytes) -> None:
            self.advertise(data, seat.name)

        board.on_advertise = on_advertise
        line = SimLine(Random(rng.random()))
        return SimDevice(seat.name, board, line, Random(rng.random()))

    # Life

    def start(self) -> None:
        """Power on what has not been on yet. Needs a running loop."""
        if not self._started:
            self._started = True
            for device in self.devices.values():
                device.power_on()

    def stop(self) -> None:
        """Every device off for good, no timer left."""
        self._started = True
        for device in self.devices.values():
            device.power_off()
            device.stop()

    def medium(self, url: str = "sim:") -> SimMedium:
        """The way to all of these devices; closing it leaves them running."""
        from blindfield.links.sim.medium import SimMedium

        return SimMedium(url, self)

    def advertise(self, data: bytes, sender: str | None = None) -> None:
        """A frame on the air, repeated, to every device in range but its sender."""
        loop = asyncio.get_running_loop()
        for name, device in self.devices.items():
            if name == sender or not self._in_range(sender, name):
                continue
            for repeat_s in AIR_REPEATS_S:
                if self._rng.random() >= self.air_loss:
                    delay_s = repeat_s + self._rng.uniform(*_AIR_DELAY_S)
                    loop.call_later(delay_s, device.hear_air, data)

    def _in_range(self, sender: str | None, name: str) -> bool:
        here = self._places[sender] if sender else None
        there = self._places[name]
        return not here or not there or math.dist(here, there) <= self.air_range_m

    # The bench

    def probe(self, target: str, manner: Manner = "sharp", strength: float = 1.0) -> float | None:
        if manner not in MANNERS:
            raise ConfigError(
                f'There is no manner "{manner}" of probing.', remedy=f"Use {', '.join(MANNERS)}."
            )
        return self._target(target).senses.feel(manner, strength)

    def contact_s(self, target: str) -> float | None:
        return self._target(target).senses.contact_s

    def knock(self, target: str) -> float | None:
        return self._target(target).senses.feel("knock", KNOCK_STRENGTH)

    def lift(self, target: str) -> None:
        senses = self._target(target).senses
        if senses.lifted:
            raise ConfigError("It is out of its hole already.", device=target)
        senses.lift()

    def put_back(self, target: str) -> None:
        senses = self._target(target).senses
        if not senses.lifted:
            raise ConfigError("It lies in its hole.", device=target)
        senses.put_back()

    def battery(self, target: str, mv: int) -> None:
        self._device(target).board.mv = mv

    def detune(self, target: str, ppm: float) -> None:
        self._device(target).detune(ppm)

    def cut_link(self, target: str) -> None:
        self._device(target).line.cut = True

    def mend_link(self, target: str) -> None:
        self._device(target).line.cut = False

    def reboot(self, target: str) -> None:
        self._device(target).reboot()

    def cut_power(self, target: str, in_bytes: int) -> None:
        self._device(target).board.flash.bytes_left = in_bytes

    def carrier_log(self, target: str) -> list[Burst]:
        return list(self._device(target).board.carrier)

    def sending(self, target: str) -> bool:
        return self._device(target).board.sending()

    def _device(self, name: str) -> SimDevice:
        self.start()
        device = self.devices.get(name)
        if device is None:
            known = ", ".join(self.devices) or "none"
            raise ConfigError(
                f'There is no simulated device "{name}".', remedy=f"There are: {known}."
            )
        return device

    def _target(self, name: str) -> SimDevice:
        device = self._device(name)
        if device.board.role != TARGET:
            raise ConfigError("It is no target: nobody probes it.", device=name)
        return device


def sim_field_of(
    field: Field, key: bytes, *, seed: int = 1, ppm_spread: float = PPM_SPREAD
) -> SimField:
    """Simulated devices with the names, ids and places of a field's targets and posts."""
    seats = [Seat(t.name, TARGET, t.device_id, (t.x_m, t.y_m)) for t in field.targets]
    seats += [Seat(post.name, POST, post.device_id) for post in field.posts]
    return SimField(seats, seed=seed, key=key, ppm_spread=ppm_spread)


def _loop_time() -> float:
    return asyncio.get_running_loop().time()
