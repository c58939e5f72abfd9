"""The rig's end of the loopback socket on which each device hears of its world and tells its acts.

One line of JSON per message. To a device: {"do": "feel", "at", "period", "frames"}, {"do": "set",
"values"}, {"do": "cut_power", "after"}, {"do": "air", "frame"}, {"do": "press"}, {"do": "break",
"us"}. From it: {"is": "here", "name", "token"} first, then {"is": "pulse", "at", "periods"},
{"is": "abort", "at"}, {"is": "air", "frame"}, {"is": "break", "us"}, {"is": "light" or "horn",
"pattern"}. Times are microseconds of the machine's monotonic clock; bytes travel as hexadecimal.
"""

from __future__ import annotations

import asyncio
import contextlib
import hmac
import json
import secrets
from collections.abc import Callable, Mapping
from typing import Any

LOOPBACK = "127.0.0.1"
_MAX_LINE_BYTES = 4096


class BenchServer:
    """Keeps one line to each device that came and showed the token.

    `on_here(name)` tells of a device that came, `on_told(name, message)` what one said.
    """

    def __init__(
        self,
        on_here: Callable[[str], None],
        on_told: Callable[[str, Mapping[str, Any]], None],
    ) -> None:
        self._on_here = on_here
        self._on_told = on_told
        self._token = secrets.token_hex(16)
        self._lines: dict[str, asyncio.StreamWriter] = {}
        self._talks: set[asyncio.Task[Any]] = set()
        self._server: asyncio.Server | None = None

    async def open(self) -> None:
        self._server = await asyncio.start_server(self._welcome, LOOPBACK, 0, limit=_MAX_LINE_BYTES)

    def environment(self) -> dict[str, str]:
        """What a device process needs to find its way here."""
        assert self._server is not None
        port = self._server.sockets[0].getsockname()[1]
        return {
            "BLINDFIELD_BENCH": f"{LOOPBACK}:{port}",
            "BLINDFIELD_BENCH_TOKEN": self._token,
        }

    def is_here(self, name: str) -> bool:
        return name in self._lines

    def forget(self, name: str) -> None:
        """Its process is being ended: nothing more is said to it."""
        line = self._lines.pop(name, None)
        if line is not None:
            line.close()

    def tell(self, name: str, message: Mapping[str, Any]) -> bool:
        """Says something to a device; False when it is not here."""
        line = self._lines.get(name)
        if line is None:
            return False
        line.write(json.dumps(message).encode("ascii") + b"\n")
        return True

    async def close(self) -> None:
        if self._server is None:
            return
        self._server.close()
        for name in list(self._lines):
            self.forget(name)
        for talk in self._talks:
            talk.cancel()
        await asyncio.gather(*self._talks, return_exceptions=True)
        await self._server.wait_closed()
        self._server = None

    async def _welcome(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        talk = asyncio.current_task()
        assert talk is not None
        self._talks.add(talk)
        name = ""
        try:
            name = self._name_of(json.loads(await reader.readline() or b"{}"))
            if name:
                self._lines[name] = writer
                self._on_here(name)
                await self._listen(name, reader)
        except (OSError, ValueError, asyncio.CancelledError):
            pass  # the device's end, a stranger's junk, or ours
        finally:
            self._talks.discard(talk)
            if self._lines.get(name) is writer:
                del self._lines[name]
            writer.close()
            with contextlib.suppress(OSError, asyncio.CancelledError):
                await writer.wait_closed()

    def _name_of(self, first: Mapping[str, Any]) -> str:
        shown = str(first.get("token", "")).encode("utf-8", "replace")
        return str(first["name"]) if hmac.compare_digest(shown, self._token.encode()) else ""

    async def _listen(self, name: str, reader: asyncio.StreamReader) -> None:
        while line := await reader.readline():
            self._on_told(name, json.loads(line))
