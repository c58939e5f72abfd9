"""The rig: devices as processes, the air between them, and whatever happens to them."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable, Coroutine, Mapping
from pathlib import Path
from random import Random
from typing import Any

from blindfield import __version__
from blindfield.links.keyfile import new_key, read_key
from blindfield.links.rig.bench_server import BenchServer
from blindfield.links.rig.body import QUIET_LEAD_S, BuriedBody
from blindfield.links.rig.interpreter import find_interpreter
from blindfield.links.rig.layout import field_on
from blindfield.links.rig.player import Player
from blindfield.links.rig.process import POWER_CUT, DeviceProcess
from blindfield.links.rig.seat import Seat, about_of
from blindfield.links.sim.bench import KNOCK_STRENGTH, MANNERS, Bench, Manner
from blindfield.links.sim.shapes import Frame
from blindfield.model.errors import ConfigError, LinkAbsent
from blindfield.model.field import Field

_UP_S = 10.0
_HEARTBEAT_S = 10.0  # a sleeping sensor's look at the world
_AIR_REPEATS_S = (0.0, 0.15, 0.4)

_log = logging.getLogger(__name__)


class Rig(Bench):
    """A bench of real firmware. Runs on an asyncio loop of real time.

    `folder` gets field.key (kept when it is there), ports/ and devices/. Device numbers depend on
    the key and the name alone. `field_text` makes the text of a field.toml, written only where
    none is. `on_report` is told, in a sentence, of every device that ends unasked.
    """

    on_bus = False

    def __init__(
        self,
        folder: Path,
        targets: int = 6,
        posts: int = 1,
        seed: int = 1,
        field_text: Callable[[Field], str] | None = None,
        on_report: Callable[[str], None] = _log.warning,
    ) -> None:
        self.folder = folder.resolve()
        self.on_report = on_report
        self._field_text = field_text
        self._rng = Random(seed)
        self._names = {str(number + 1): 0 for number in range(targets)}
        self._names |= {"post" if n == 0 else f"post-{n + 1}": 1 for n in range(posts)}
        self._seats: dict[str, Seat] = {}
        self._bench = BenchServer(self._on_here, self._on_told)
        self._tasks: set[asyncio.Task[None]] = set()
        self._ending = False

    # Life

    def prepare(self) -> bytes:
        """Makes the folder and the field's key where they are missing; the key.

        Raises ConfigError when the folder cannot be used.
        """
        try:
            (self.folder / "devices").mkdir(parents=True, exist_ok=True)
        except OSError as error:
            what = f"The folder {self.folder} cannot be used: {error.strerror}."
            raise ConfigError(what, remedy="Give the rig another folder.") from error
        path = self.folder / "field.key"
        return read_key(path) if path.exists() else new_key(path)

    async def start(self) -> None:
        """Starts every device and waits until each is up. Raises ConfigError, LinkAbsent."""
        interpreter = find_interpreter()
        key = self.prepare()
        await self._bench.open()
        try:
            for name, role in self._names.items():
                self._seats[name] = self._make_seat(interpreter, name, role, key)
            self._write_field()
            await asyncio.gather(*(self._power_on(seat) for seat in self._seats.values()))
            await asyncio.gather(*(self.wait_up(name) for name in self._names))
        except BaseException:
            await self.stop()
            raise
        self._begin(self._heartbeat())

    async def stop(self) -> None:
        """Ends every device process and takes the ports away."""
        self._ending = True
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        for seat in self._seats.values():
            await seat.process.close()
        await self._bench.close()

    async def wait_up(self, target: str) -> None:
        """Until the device runs. Raises LinkAbsent when it does not come."""
        seat = self._seat(target)
        try:
            await asyncio.wait_for(seat.here.wait(), _UP_S)
        except TimeoutError as error:
            words = seat.process.last_words() or "it said nothing"
            what = f"The device did not start ({words})."
            raise LinkAbsent(
                what, device=seat.name, remedy=f"See {seat.process.errors}."
            ) from error

    async def quiet(self) -> None:
        """Until every signal, reboot and advertisement asked for is over."""
        while waiting := {task for task in self._tasks if task.get_name() == "act"}:
            await asyncio.wait(waiting)

    def field(self) -> Field:
        """The field that lies on this rig, at made-up places."""
        targets, posts = (
            {s.name: s.device_id for s in self._seats.values() if s.about["role"] == role}
            for role in (0, 1)
        )
        return field_on(self.folder, targets, posts, self.url)

    @property
    def url(self) -> str:
        """The medium that reaches all devices of this rig."""
        return f"serial:{self.folder / 'ports'}/*"

    def port(self, target: str) -> Path:
        """The device's serial port by its stable name."""
        return self._seat(target).process.port

    def contact_s(self, target: str) -> float | None:
        return self._seat(target).player.contact_s

    def state(self) -> list[dict[str, Any]]:
        """One line of facts per device, in order."""
        now_s = asyncio.get_running_loop().time()
        return [seat.facts(now_s) for seat in self._seats.values()]

    # The bench: what may be done to a target

    def probe(self, target: str, manner: Manner = "sharp", strength: float = 1.0) -> float | None:
        if manner not in MANNERS:
            raise ConfigError(
                f'There is no manner "{manner}" of probing.', remedy=f"Use {', '.join(MANNERS)}."
            )
        seat = self._awake(target)
        frames, onset_s = seat.body.feel(manner, strength)
        return self._feel(seat, frames + seat.body.settle(frames[-1]), onset_s)

    def knock(self, target: str) -> float | None:
        seat = self._awake(target)
        frames, onset_s = seat.body.feel("knock", KNOCK_STRENGTH)
        return self._feel(seat, frames, onset_s, lead_s=0.0)  # a second of stillness comes first

    def lift(self, target: str) -> None:
        seat = self._awake(target)
        if seat.body.lifted:
            raise ConfigError("It is out of its hole already.", device=target)
        self._feel(seat, seat.body.lift(), None)

    def put_back(self, target: str) -> None:
        seat = self._awake(target)
        if not seat.body.lifted:
            raise ConfigError("It lies in its hole.", device=target)
        self._feel(seat, seat.body.put_back(), None)

    def battery(self, target: str, mv: int) -> None:
        self._set(target, battery_mv=mv)

    def detune(self, target: str, ppm: float) -> None:
        self._set(target, ppb=round(ppm * 1000))

    def cut_link(self, target: str) -> None:
        self._set(target, link=False)

    def mend_link(self, target: str) -> None:
        self._set(target, link=True)

    def press(self, target: str) -> None:
        """The button of a device: it silences."""
        self._bench.tell(self._awake(target).name, {"do": "press"})

    def reboot(self, target: str) -> None:
        """Power off and on: a new process on the same port, with the same flash."""
        seat = self._seat(target)
        seat.here.clear()
        self._act(self._reboot(seat))

    def cut_power(self, target: str, in_bytes: int) -> None:
        self._bench.tell(self._awake(target).name, {"do": "cut_power", "after": in_bytes})

    def advertise(self, frame: bytes, sender: str | None = None) -> None:
        """A frame on the air, repeated, to every device but its sender."""
        self._act(self._advertise(frame, sender))

    def carrier_log(self, target: str) -> list[tuple[float, int, float | None]]:
        return list(self._seat(target).carrier)

    def sending(self, target: str) -> bool:
        return self._seat(target).sending(asyncio.get_running_loop().time())

    # Inside

    def _make_seat(self, interpreter: Path, name: str, role: int, key: bytes) -> Seat:
        word = name if role else f"target-{name}"
        folder = self.folder / "devices" / word
        folder.mkdir(parents=True, exist_ok=True)
        about = about_of(folder, name, role, key, self._rng)
        about |= {
            "build": __version__,
            "key": str(self.folder / "field.key"),
            "bus": self.on_bus,
        }
        port = self._port_of(word)

        def on_exit(status: int) -> None:
            self._on_exit(name, status)

        process = DeviceProcess(interpreter, folder, port, on_exit)
        body = BuriedBody(Random(self._rng.random()))

        def tell(message: Mapping[str, Any]) -> bool:
            return self._bench.tell(name, message)

        seat = Seat(name, about, process, body, Player(body, tell))
        process.open_port()
        return seat

    def _port_of(self, word: str) -> Path:
        return self.folder / "ports" / word

    def _write_field(self) -> None:
        path = self.folder / "field.toml"
        if self._field_text is not None and not path.exists():
            path.write_text(self._field_text(self.field()), encoding="utf-8")

    def _seat(self, target: str) -> Seat:
        """The device of a name as people write it: 3, target-3, post."""
        seat = self._seats.get(target.casefold().removeprefix("target-"))
        if seat is None:
            known = ", ".join(self._names)
            raise ConfigError(f'The rig has no device "{target}".', remedy=f"It has: {known}.")
        return seat

    def _awake(self, target: str) -> Seat:
        seat = self._seat(target)
        if not self._bench.is_here(seat.name):
            what = f"The device is off ({seat.off or 'starting'})."
            raise LinkAbsent(what, device=seat.name, remedy=f"blindfield rig reboot {seat.name}")
        return seat

    def _set(self, target: str, **values: Any) -> None:
        seat = self._seat(target)
        seat.about |= values
        self._bench.tell(seat.name, {"do": "set", "values": values})

    def _begin(self, work: Coroutine[Any, Any, None], name: str = "rig") -> None:
        task = asyncio.get_running_loop().create_task(work, name=name)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    def _act(self, work: Coroutine[Any, Any, None]) -> None:
        self._begin(work, "act")

    async def _power_on(self, seat: Seat) -> None:
        seat.off = ""
        await seat.process.start(seat.about, self._bench.environment())

    async def _reboot(self, seat: Seat) -> None:
        self._bench.forget(seat.name)
        await seat.process.kill()
        seat.power_gone(asyncio.get_running_loop().time())
        seat.about["phase_us"] = self._rng.getrandbits(30)
        await self._power_on(seat)
        await self.wait_up(seat.name)

    def _feel(
        self,
        seat: Seat,
        frames: list[Frame],
        onset_s: float | None,
        lead_s: float = QUIET_LEAD_S,
    ) -> float | None:
        begin_s, contact_s = seat.player.plan(frames, onset_s, lead_s)
        self._act(seat.player.play(frames, begin_s))
        return contact_s

    def _look(self, seat: Seat) -> None:
        if seat.about["channels"]:
            seat.player.look()

    async def _heartbeat(self) -> None:
        while True:
            for seat in self._seats.values():
                await asyncio.sleep(_HEARTBEAT_S / len(self._seats))
                self._look(seat)

    async def _advertise(self, frame: bytes, sender: str | None) -> None:
        for number, at_s in enumerate(_AIR_REPEATS_S):
            await asyncio.sleep(at_s - (_AIR_REPEATS_S[number - 1] if number else 0.0))
            for name in self._names:
                if name != sender:
                    self._bench.tell(name, {"do": "air", "frame": frame.hex()})

    def _on_here(self, name: str) -> None:
        seat = self._seats[name]
        self._look(seat)
        seat.here.set()

    def _on_told(self, name: str, message: Mapping[str, Any]) -> None:
        if message["is"] == "air":
            self.advertise(bytes.fromhex(message["frame"]), name)
        else:
            self._seats[name].told(message)

    def _on_exit(self, name: str, status: int) -> None:
        seat = self._seats[name]
        seat.here.clear()
        seat.power_gone(asyncio.get_running_loop().time())
        if self._ending:
            return
        seat.off = "its power was cut" if status == POWER_CUT else f"its program ended, {status}"
        words = "" if status == POWER_CUT else f" ({seat.process.last_words()})"
        again = f"`blindfield rig reboot {name}` brings it back."
        self.on_report(f"Device {name} is off: {seat.off}{words}. {again}")
