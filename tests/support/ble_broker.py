"""The boards' side of the virtual radio, for devices in processes of their own.

Each process (its `bluetooth` module is `ble_standin/bluetooth.py`) has one connection here. One
line of JSON per message. From the process: first {"name"}, then {"call", "with"}, answered by
{"give"} or {"error"}; and {"seen": n} once an event's handler has run. To it: {"event", "data",
"n"}. Bytes travel as {"hex"}.
"""

from __future__ import annotations

import asyncio
import itertools
import json
from typing import Any

from bumble.core import UUID

from support.ble_air import SUPERVISION_S, Air
from support.ble_stack import Stack

_SEEN_S = 5.0


class Board(Stack):
    """One device's radio."""

    def __init__(self, air: Air, name: str, writer: asyncio.StreamWriter) -> None:
        super().__init__(air, name)
        self._writer = writer
        self._seen: dict[int, asyncio.Future[None]] = {}
        self._events = itertools.count(1)

    async def serve(self, reader: asyncio.StreamReader) -> None:
        while line := await reader.readline():
            said = json.loads(line)
            if "seen" in said:
                self._seen.pop(said["seen"]).set_result(None)
                continue
            try:
                self._say({"give": _out(await self._do(said["call"], _in(said["with"])))})
            except OSError as error:
                self._say({"error": error.errno})

    def tell(self, event: int, *data: Any) -> None:
        self._tell(event, *data)

    async def told(self, event: int, *data: Any) -> None:
        seen = self._seen[self._tell(event, *data)]
        await asyncio.wait_for(asyncio.shield(seen), _SEEN_S)

    def power_gone(self) -> None:
        """Centrals find out with the supervision timeout."""
        self.stop()
        self.air.away.add(self.controller)

        def end() -> None:
            self.air.end_links(self.controller)
            self.air.remove_controller(self.controller)

        asyncio.get_running_loop().call_later(SUPERVISION_S, end)

    async def _do(self, call: str, given: list[Any]) -> Any:
        if call == "active":
            return await (self.device.power_on() if given[0] else self.device.power_off())
        return getattr(self, call)(*given)

    def _say(self, message: dict[str, Any]) -> None:
        self._writer.write(json.dumps(message, separators=(",", ":")).encode() + b"\n")

    def _tell(self, event: int, *data: Any) -> int:
        number = next(self._events)
        self._seen[number] = asyncio.get_running_loop().create_future()
        self._say({"event": event, "data": _out(data), "n": number})
        return number


class Broker:
    """Listens for device processes; `boards` by name. Lives on the loop of the air."""

    def __init__(self, air: Air) -> None:
        self.air = air
        self.boards: dict[str, Board] = {}
        self._server: asyncio.Server | None = None
        self._talks: set[asyncio.Task[Any]] = set()

    async def open(self) -> str:
        """Where device processes find it, as host:port."""
        self._server = await asyncio.start_server(self._welcome, "127.0.0.1", 0, limit=1 << 20)
        return f"127.0.0.1:{self._server.sockets[0].getsockname()[1]}"

    async def close(self) -> None:
        assert self._server is not None
        self._server.close()
        for talk in self._talks:
            talk.cancel()
        await asyncio.gather(*self._talks, return_exceptions=True)

    async def _welcome(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        talk = asyncio.current_task()
        assert talk is not None
        self._talks.add(talk)
        board = Board(self.air, json.loads(await reader.readline())["name"], writer)
        self.boards[board.name] = board
        try:
            await board.serve(reader)
        except (OSError, asyncio.CancelledError):
            pass
        finally:
            self._talks.discard(talk)
            writer.close()
            board.power_gone()


def _out(value: Any) -> Any:
    if isinstance(value, bytes | bytearray):
        return {"hex": bytes(value).hex()}
    return [_out(one) for one in value] if isinstance(value, list | tuple) else value


def _in(value: Any) -> Any:
    if isinstance(value, dict):
        return UUID(value["uuid"]) if "uuid" in value else bytes.fromhex(value["hex"])
    return [_in(one) for one in value] if isinstance(value, list) else value
