"""The rig: devices as processes, the air between them, and whatever happens to them."""

from __future__ import annotations

import array
import asyncio
import importlib.metadata
import logging
import sys
from collections.abc import Callable, Coroutine, Mapping
from pathlib import Path
from random import Random
from typing import Any

from blindfield.links.keyfile import new_key, read_key
from blindfield.links.rig.bench_server import BenchServer
from blindfield.links.rig.body import BLOCK_FRAMES, PERIOD_US, QUIET_LEAD_S, BuriedBody
from blindfield.links.rig.interpreter import find_interpreter
from blindfield.links.rig.process import POWER_CUT, DeviceProcess
from blindfield.links.rig.seat import US_PER_S, Seat, about_of
from blindfield.links.sim.shapes import Frame
from blindfield.model.errors import ConfigError, LinkAbsent
from blindfield.model.field import Field, Post, StartPoint, Target

MANNERS = ("sharp", "push", "miss", "neighbour")
_UP_S = 10.0
_HEARTBEAT_S = 10.0  # a sleeping sensor's look at the world
_AIR_REPEATS_S = (0.0, 0.15, 0.4)
_SIDE_M = 50.0
_MARGIN_M = 6.0
_TURN = 0.618034  # the golden ratio's part: places never line up

_log = logging.getLogger(__name__)


class Rig:
    """A bench (links.sim.bench.Bench) of real firmware. Runs on an asyncio loop of real time.

    `folder` gets field.key (kept when it is there), ports/ and devices/. Device numbers depend on
    the key and the name alone. `field_text` makes the text of a field.toml, written only where
    none is. `on_report` is told, in a sentence, of every device that ends unasked.
    """

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

    async def start(self) -> None:
        """Starts every device and waits until each is up. Raises ConfigError, LinkAbsent."""
        interpreter = find_interpreter()
        key = self._prepare_folder()
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
        """The field that lies on this rig: made-up places, at least some metres apart."""
        targets = tuple(self._place(seat, number) for number, seat in enumerate(self._of_role(0)))
        posts = tuple(Post(seat.name, seat.device_id) for seat in self._of_role(1))
        return Field(
            name="practice rig",
            folder=self.folder,
            media=(f"serial:{self.folder / 'ports'}/*",),
            key_path=self.folder / "field.key",
            logbook_path=self.folder / "logbook.db",
            targets=targets,
            posts=posts,
            start_points=(StartPoint("gate", _SIDE_M / 2, 0.0), StartPoint("west", 0.0, 25.0)),
        )

    def port(self, target: str) -> Path:
        """The device's serial port by its stable name."""
        return self._seat(target).process.port

    def contact_s(self, target: str) -> float | None:
        """Host time of the last true contact with the target; None before the first."""
        return self._seat(target).contact_s

    def state(self) -> list[dict[str, Any]]:
        """One line of facts per device, in order."""
        now_s = asyncio.get_running_loop().time()
        return [
            {
                "name": seat.name,
                "port": str(seat.process.port),
                "pid": seat.process.pid,
                "off": seat.off,
                "link": seat.about["link"],
                "battery_mv": seat.about["battery_mv"],
                "ppm": seat.about["ppb"] / 1000,
                "sending": seat.sending(now_s),
                "lifted": seat.body.lifted,
                **seat.shown,
            }
            for seat in self._seats.values()
        ]

    # The bench: what may be done to a target

    def probe(self, target: str, manner: str = "sharp", strength: float = 1.0) -> None:
        """A probe comes down on the target, or beside it. Manners: MANNERS."""
        if manner not in MANNERS:
            raise ConfigError(
                f'There is no manner "{manner}" of probing.', remedy=f"Use {', '.join(MANNERS)}."
            )
        seat = self._awake(target)
        self._act(self._feel(seat, *seat.body.feel(manner, strength)))

    def knock(self, target: str) -> None:
        """The knock pattern, by hand on the target, after a second of stillness."""
        seat = self._awake(target)
        self._act(self._feel(seat, *seat.body.feel("knock"), lead_s=0.0))

    def lift(self, target: str) -> None:
        """Hands take the target out of its hole."""
        seat = self._awake(target)
        if seat.body.lifted:
            raise ConfigError("It is out of its hole already.", device=target)
        self._act(self._feel(seat, seat.body.lift(), None))

    def put_back(self, target: str) -> None:
        """The target goes back as it lay."""
        seat = self._awake(target)
        if not seat.body.lifted:
            raise ConfigError("It lies in its hole.", device=target)
        self._act(self._feel(seat, seat.body.put_back(), None))

    def battery(self, target: str, mv: int) -> None:
        """The battery's voltage from now on, in millivolts."""
        self._set(target, battery_mv=mv)

    def detune(self, target: str, ppm: float) -> None:
        """The device's clock goes so much too fast from now on."""
        self._set(target, ppb=round(ppm * 1000))

    def cut_link(self, target: str) -> None:
        """Nothing passes on the serial line, in either direction, until `mend_link`."""
        self._set(target, link=False)

    def mend_link(self, target: str) -> None:
        self._set(target, link=True)

    def reboot(self, target: str) -> None:
        """Power off and on: a new process on the same port, with the same flash."""
        seat = self._seat(target)
        seat.here.clear()
        self._act(self._reboot(seat))

    def cut_power(self, target: str, in_bytes: int) -> None:
        """The power fails after so many more bytes of flash writing; back by `reboot`."""
        self._bench.tell(self._awake(target).name, {"do": "cut_power", "after": in_bytes})

    def advertise(self, frame: bytes, sender: str | None = None) -> None:
        """A frame on the air, repeated, to every device but its sender."""
        self._act(self._advertise(frame, sender))

    def carrier_log(self, target: str) -> list[tuple[float, int, float | None]]:
        """Every burst: its start in host seconds, its periods, when it was aborted or None."""
        return list(self._seat(target).carrier)

    def sending(self, target: str) -> bool:
        """Whether the target's keyed carrier is on the air."""
        return self._seat(target).sending(asyncio.get_running_loop().time())

    # Inside

    def _prepare_folder(self) -> bytes:
        self.folder.mkdir(parents=True, exist_ok=True)
        path = self.folder / "field.key"
        return read_key(path) if path.exists() else new_key(path)

    def _make_seat(self, interpreter: Path, name: str, role: int, key: bytes) -> Seat:
        word = name if role else f"target-{name}"
        folder = self.folder / "devices" / word
        folder.mkdir(parents=True, exist_ok=True)
        about = about_of(folder, name, role, key, self._rng)
        about |= {
            "build": importlib.metadata.version("blindfield"),
            "key": str(self.folder / "field.key"),
        }
        port = self.folder / "ports" / word

        def on_exit(status: int) -> None:
            self._on_exit(name, status)

        process = DeviceProcess(interpreter, folder, port, on_exit)
        seat = Seat(name, about, process, BuriedBody(Random(self._rng.random())))
        process.open_port()
        return seat

    def _write_field(self) -> None:
        path = self.folder / "field.toml"
        if self._field_text is not None and not path.exists():
            path.write_text(self._field_text(self.field()), encoding="utf-8")

    def _of_role(self, role: int) -> list[Seat]:
        return [self._seats[name] for name, has in self._names.items() if has == role]

    def _place(self, seat: Seat, number: int) -> Target:
        room_m = _SIDE_M - 2 * _MARGIN_M
        share = (number + 0.5) / len(self._of_role(0))
        return Target(
            name=seat.name,
            device_id=seat.device_id,
            x_m=round(_MARGIN_M + room_m * ((0.3 + number * _TURN) % 1.0), 1),
            y_m=round(_MARGIN_M + room_m * share, 1),
            depth_m=round(0.5 + 1.0 * ((number * _TURN) % 1.0), 1),
        )

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

    async def _feel(
        self,
        seat: Seat,
        frames: list[Frame],
        onset_s: float | None,
        lead_s: float = QUIET_LEAD_S,
    ) -> None:
        """Plays a signal as time goes, in blocks, each sent when its last frame is over.

        `lead_s` of the quiet before it have just passed, unless something else was felt then.
        """
        loop = asyncio.get_running_loop()
        async with seat.turn:
            begin_s = max(loop.time() - lead_s, seat.felt_until_s)
            seat.felt_until_s = begin_s + len(frames) * PERIOD_US / US_PER_S
            if onset_s is not None:
                seat.contact_s = begin_s + onset_s
            for first in range(0, len(frames), BLOCK_FRAMES):
                block = frames[first : first + BLOCK_FRAMES]
                at_s = begin_s + first * PERIOD_US / US_PER_S
                over_s = at_s + len(block) * PERIOD_US / US_PER_S
                await asyncio.sleep(max(0.0, over_s - loop.time()))
                self._send_block(seat, block, at_s)

    def _send_block(self, seat: Seat, frames: list[Frame], at_s: float) -> None:
        values = array.array("h", [value for frame in frames for value in frame])
        if sys.byteorder == "big":
            values.byteswap()
        order = {"do": "feel", "at": round(at_s * US_PER_S), "period": PERIOD_US}
        self._bench.tell(seat.name, {**order, "frames": values.tobytes().hex()})

    def _look(self, seat: Seat) -> None:
        """What a still body felt just now, so that the device knows how it lies."""
        end_s = asyncio.get_running_loop().time() - QUIET_LEAD_S
        begin_s = end_s - BLOCK_FRAMES * PERIOD_US / US_PER_S
        if begin_s >= seat.felt_until_s:
            seat.felt_until_s = end_s
            self._send_block(seat, seat.body.quiet(), begin_s)

    async def _heartbeat(self) -> None:
        while True:
            for seat in self._of_role(0):
                await asyncio.sleep(_HEARTBEAT_S / len(self._names))
                self._look(seat)
            await asyncio.sleep(_HEARTBEAT_S / len(self._names))

    async def _advertise(self, frame: bytes, sender: str | None) -> None:
        for number, at_s in enumerate(_AIR_REPEATS_S):
            await asyncio.sleep(at_s - (_AIR_REPEATS_S[number - 1] if number else 0.0))
            for name in self._names:
                if name != sender:
                    self._bench.tell(name, {"do": "air", "frame": frame.hex()})

    def _on_here(self, name: str) -> None:
        seat = self._seats[name]
        if not seat.about["role"]:
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
