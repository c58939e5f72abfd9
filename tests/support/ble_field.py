"""A field on the virtual radio: the firmware under MicroPython, one process a device."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from blindfield.links.rig.bench_server import BenchServer
from support.ble_air import Air
from support.ble_backend import Central
from support.ble_broker import Board, Broker
from support.interpreters import FIRMWARE, micropython

KEY = bytes(range(32))
UP_S = 10.0
_HERE = Path(__file__).parent
# Collected after each import, as a board's firmware does: what compiling leaves would lie between.
_START = (
    "import gc, bluetooth\ngc.collect()\nimport fieldcore.device\ngc.collect()\n"
    "import fielddevice.links.ble\ngc.collect()\nimport ble_device\nble_device.main()"
)


@dataclass
class Target:
    """One device: what it did (`pulses`: starts in s of the machine's clock), its process."""

    name: str
    about: dict[str, Any]
    environment: dict[str, str]
    errors: Path
    heap: str = "256K"
    process: asyncio.subprocess.Process | None = None
    pulses: list[float] = field(default_factory=list)
    aborts: list[float] = field(default_factory=list)

    @property
    def device_id(self) -> bytes:
        return bytes.fromhex(self.about["device_id"])

    async def start(self) -> None:
        path = Path(self.about["store"]).with_suffix(".json")
        path.write_text(json.dumps(self.about))
        with self.errors.open("ab") as errors:
            self.process = await asyncio.create_subprocess_exec(
                micropython(), "-X", f"heapsize={self.heap}", "-c", _START,
                stdin=asyncio.subprocess.DEVNULL, stderr=errors,
                env={**self.environment, "BLINDFIELD_DEVICE": str(path), "BLE_NAME": self.name},
            )  # fmt: skip

    async def stop(self) -> None:
        if self.process is not None:
            with suppress(ProcessLookupError):
                self.process.kill()
            await self.process.wait()
            self.process = None


class BleField:
    """`targets` by name; `boards` their radios, with their faults."""

    def __init__(self, folder: Path, hurry: int) -> None:
        self.air = Air(hurry)
        self.targets: dict[str, Target] = {}
        self._folder = folder
        self._bench = BenchServer(lambda name: None, self._told)
        self._broker = Broker(self.air)
        self._centrals: list[Central] = []

    @property
    def boards(self) -> dict[str, Board]:
        return self._broker.boards

    async def open(
        self, count: int, firmware: Path = FIRMWARE, heap: str = "256K", **about: Any
    ) -> None:
        self._folder.mkdir(parents=True, exist_ok=True)
        (self._folder / "field.key").write_text(KEY.hex())
        (self._folder / "field.key").chmod(0o600)
        await self._bench.open()
        path = f"{firmware}:{_HERE / 'ble_standin'}:.frozen"
        environment = {**self._bench.environment(), "MICROPYPATH": path}
        environment["BLE_AIR"] = await self._broker.open()
        for number in range(1, count + 1):
            self._add(str(number), environment, about)
            self.targets[str(number)].heap = heap
        await asyncio.gather(*(target.start() for target in self.targets.values()))
        await self.wait_up()

    def _add(self, name: str, environment: dict[str, str], about: Mapping[str, Any]) -> None:
        store = self._folder / f"{name}.bin"
        fields = {
            "name": name,
            "device_id": (b"ble-%4d" % int(name)).hex(),
            "role": 0,
            "build": "test",
            "channels": 3,
            "battery_mv": 4000,
            "phase_us": 1_000_000 * int(name),
            "ppb": 5_000 * int(name),
            "link": True,
            "bus": False,
            "unproven_ms": 10_000,
            "store": str(store),
            "settings": str(store.with_suffix(".settings")),
            "key": str(self._folder / "field.key"),
            **about,
        }
        self.targets[name] = Target(name, fields, environment, store.with_suffix(".errors"))

    async def wait_up(self) -> None:
        try:
            async with asyncio.timeout(UP_S):
                for name in self.targets:
                    while name not in self.boards:
                        await asyncio.sleep(0.005)
                    await self.boards[name].here.wait()
        except TimeoutError:
            words = [t.errors.read_text()[-400:] for t in self.targets.values()]
            raise AssertionError(f"devices did not come up: {words}") from None

    def check(self) -> None:
        """No device has ended of itself."""
        ended = [t for t in self.targets.values() if t.process and t.process.returncode is not None]
        assert not ended, f"{ended[0].name} ended: {ended[0].errors.read_text()[-800:]}"

    async def close(self) -> None:
        await asyncio.gather(*(target.stop() for target in self.targets.values()))
        await self._broker.close()
        await self._bench.close()

    async def central(self, name: str = "host") -> Central:
        return await Central(self.air, name).power_on()

    def tell(self, name: str, **order: Any) -> None:
        """An order of the rig's bench: do="set", "feel", "press" ..."""
        assert self._bench.tell(name, order)

    async def lose(self, name: str) -> None:
        await self.air.lose(self.boards[name].controller)

    def find(self, name: str) -> None:
        """It is in range again."""
        self.air.away.discard(self.boards[name].controller)

    def _told(self, name: str, message: Mapping[str, Any]) -> None:
        if message["is"] == "pulse":
            self.targets[name].pulses.append(message["at"] / 1e6)
        elif message["is"] == "abort":
            self.targets[name].aborts.append(message["at"] / 1e6)


@asynccontextmanager
async def ble_field(
    folder: Path, count: int, *, hurry: int = 5, **about: Any
) -> AsyncIterator[BleField]:
    """`count` devices named 1, 2 ..., up and advertising. `about` holds for all of them, and so do
    `heap` and `firmware`, the folder that they run from."""
    made = BleField(folder, hurry)
    try:
        await made.open(count, **about)
        yield made
    finally:
        try:
            made.check()
        finally:
            await made.close()
