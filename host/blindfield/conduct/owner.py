"""The owner of a field's ports: one process per field, which the others ask.

The owner listens on a random loopback port. A request is one line of JSON, `{"token", "command",
...}`, the reply is one line, `{"ok": true, ...}` or `{"ok": false, "error", "what", ...}`; several
may follow each other on one connection. The token stands in a file that only this user can read:
it keeps other users of the machine out. Whoever can read it may silence; nothing more is asked.
"""

from __future__ import annotations

import asyncio
import dataclasses
import hmac
import json
import logging
import secrets
import socket
import time
from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from blindfield.conduct.hold import Hold, Note, busy, held_by
from blindfield.conduct.used_fields import note_use
from blindfield.model import errors
from blindfield.model.errors import BlindfieldError, ConfigError, Refused

Talk = asyncio.Task[Any]
Handler = Callable[[Mapping[str, Any]], Awaitable[Mapping[str, Any]]]

LOOPBACK = "127.0.0.1"
MAX_LINE_BYTES = 8 * 1024
MAX_REPLY_BYTES = 1024 * 1024
ASK_TIMEOUT_S = 2.0
ENDING_LOOKS = 15
BETWEEN_LOOKS_S = 0.02
# A connection that says nothing for so long is closed.
QUIET_S = 5.0
GRACE_S = 1.0
# So many connections that have shown no token may wait; one more and the longest waiting goes.
# A true client shows its token at once, so strangers cannot crowd it out.
MAX_STRANGERS = 32

_log = logging.getLogger(__name__)


class Owner:
    """Holds a field and, while it serves, answers what others ask."""

    def __init__(self, hold: Hold) -> None:
        self._hold = hold
        self._token = secrets.token_hex(16)
        self._handlers: dict[str, Handler] = {}
        self._server: asyncio.Server | None = None
        self._talks: set[Talk] = set()
        self._answering: set[Talk] = set()
        self._strangers: dict[Talk, None] = {}  # in order of arrival

    @classmethod
    def acquire(cls, folder: Path) -> Owner:
        """Takes the field in `folder` for this process. Opens no socket.

        Raises LinkBusy, with the process that has it, when it is held; LinkDenied or ConfigError
        when the folder cannot be used.
        """
        owner = cls(Hold.take(folder))
        note_use(folder)
        return owner

    def handle(self, command: str, handler: Handler) -> None:
        """From now on `handler` answers `command`; it gets the request's other values.

        Handlers run side by side. A BlindfieldError of theirs is raised again at the asker.
        """
        self._handlers[command] = handler

    async def serve(self) -> None:
        """Begins to answer. Needs an event loop that takes sockets."""
        self._server = await asyncio.start_server(
            self._welcome, LOOPBACK, 0, limit=MAX_LINE_BYTES, start_serving=False
        )
        port = self._server.sockets[0].getsockname()[1]
        await self._server.start_serving()
        self._hold.publish(dataclasses.replace(self._hold.note, port=port, token=self._token))

    async def stop(self) -> None:
        """Stops answering; the field stays held. Answers under way get GRACE_S to finish."""
        if self._server is None:
            return
        server, self._server = self._server, None
        self._hold.publish(dataclasses.replace(self._hold.note, port=0, token=""))
        server.close()
        # A handler may itself end the owner: it cannot wait for its own end.
        others = {talk for talk in self._talks if talk is not asyncio.current_task()}
        for talk in others - self._answering:
            talk.cancel()
        if others:
            _, late = await asyncio.wait(others, timeout=GRACE_S)
            for talk in late:
                talk.cancel()
        await asyncio.gather(*others, return_exceptions=True)

    def release(self) -> None:
        """Gives the field up; `stop` comes first where `serve` was called."""
        self._hold.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.release()

    async def _answer(self, request: dict[str, Any]) -> bytes:
        """The reply line to a trusted request. Never raises, whatever the handler does."""
        command = request.pop("command", None)
        handler = self._handlers.get(command) if isinstance(command, str) else None
        if handler is None:
            known = ", ".join(sorted(self._handlers)) or "nothing yet"
            return _failure(ConfigError("No such command here.", remedy=f"Known: {known}."))
        try:
            return _encoded({**await handler(request), "ok": True})
        except BlindfieldError as error:
            return _failure(error)
        except Exception as error:
            _log.exception("the handler of %s failed", command)
            return _failure(BlindfieldError(f"{command} failed inside the owner: {error!r}."))

    def _trusted(self, line: bytes) -> dict[str, Any] | None:
        """The request without its token, or None when it is junk or a stranger's."""
        try:
            request = _decoded(line)
        except ValueError:
            return None
        token = request.pop("token", None)
        if not isinstance(token, str):
            return None
        shown = token.encode("utf-8", "replace")
        return request if hmac.compare_digest(shown, self._token.encode("ascii")) else None

    async def _welcome(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        talk = asyncio.current_task()
        assert talk is not None
        self._talks.add(talk)
        self._strangers[talk] = None
        if len(self._strangers) > MAX_STRANGERS:
            next(iter(self._strangers)).cancel()
        try:
            await self._talk(talk, reader, writer)
        except (OSError, TimeoutError, asyncio.CancelledError):
            pass  # the client's own affair, or we let go of it
        finally:
            self._talks.discard(talk)
            self._strangers.pop(talk, None)
            self._answering.discard(talk)
            writer.close()

    async def _talk(
        self, talk: Talk, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> None:
        """Answers one connection's lines until it ends, falls quiet or proves a stranger's."""
        while self._server is not None:
            line = await asyncio.wait_for(_line(reader), QUIET_S)
            if not line:
                return
            request = self._trusted(line)
            if request is None:
                writer.write(_failure(ConfigError("Not understood, or no valid token.")))
                return
            self._strangers.pop(talk, None)
            self._answering.add(talk)
            writer.write(await self._answer(request))
            await asyncio.wait_for(writer.drain(), QUIET_S)
            self._answering.discard(talk)


async def _line(reader: asyncio.StreamReader) -> bytes:
    """The next whole line, or nothing at the end or when it is longer than allowed."""
    try:
        return await reader.readuntil(b"\n")
    except (asyncio.IncompleteReadError, asyncio.LimitOverrunError):
        return b""


def ask_owner(
    folder: Path, command: str, *, timeout_s: float = ASK_TIMEOUT_S, **args: Any
) -> dict[str, Any] | None:
    """What the process that holds the field in `folder` replies; None when none does.

    Waits `timeout_s` at most. Raises the BlindfieldError that the owner's handler raised, so that
    a refusal is never taken for a yes; LinkBusy when an owner lives but does not answer;
    LinkDenied when it is another user's.
    """
    note = held_by(folder)
    if note is None:
        return None
    request = {**args, "token": note.token, "command": command}
    try:
        reply = _decoded(_exchange(note, _encoded(request), timeout_s))
    except (OSError, ValueError) as error:
        if not isinstance(error, TimeoutError) and _ended(folder):
            return None
        raise busy(
            f"{note.holder}; it does not answer",
            f"Try again, or end process {note.pid} and then `blindfield silence`.",
        ) from error
    if reply.get("ok") is not True:
        raise _rebuilt(reply)
    return reply


def _ended(folder: Path) -> bool:
    """Whether an owner that hung up has ended; the system may free its lock a little later."""
    for _ in range(ENDING_LOOKS):
        if held_by(folder) is None:
            return True
        time.sleep(BETWEEN_LOOKS_S)
    return False


def _exchange(note: Note, request: bytes, timeout_s: float) -> bytes:
    """Sends one line and gives the reply line; OSError when none comes in time."""
    deadline_s = time.monotonic() + timeout_s
    with socket.create_connection((LOOPBACK, note.port), timeout_s) as connection:
        connection.sendall(request)
        reply = b""
        while not reply.endswith(b"\n"):
            left_s = deadline_s - time.monotonic()
            if left_s <= 0 or len(reply) > MAX_REPLY_BYTES:
                raise TimeoutError("no whole reply in time")
            connection.settimeout(left_s)
            part = connection.recv(64 * 1024)
            if not part:
                raise ConnectionResetError("the owner hung up")
            reply += part
    return reply


def _encoded(values: Mapping[str, Any]) -> bytes:
    return json.dumps(values).encode("ascii") + b"\n"


def _decoded(line: bytes) -> dict[str, Any]:
    """The JSON object in a line; ValueError when it holds anything else."""
    try:
        values = json.loads(line)
    except RecursionError as error:
        raise ValueError("nested too deeply") from error
    if not isinstance(values, dict):
        raise ValueError("not a JSON object")
    return values


def _failure(error: BlindfieldError) -> bytes:
    reply = {"ok": False, "error": type(error).__name__, "what": error.what}
    reply |= {"device": error.device, "remedy": error.remedy}
    return _encoded({**reply, "code": error.code} if isinstance(error, Refused) else reply)


def _rebuilt(reply: Mapping[str, Any]) -> BlindfieldError:
    """The error that a failed reply tells of, of its own class where we know that."""
    what, device = str(reply.get("what", "The owner refused.")), reply.get("device")
    remedy = str(reply.get("remedy", ""))
    if reply.get("error") == "Refused":
        return Refused(what, code=int(reply.get("code", 0)), device=device, remedy=remedy)
    kind = getattr(errors, str(reply.get("error")), BlindfieldError)
    known = isinstance(kind, type) and issubclass(kind, BlindfieldError)
    return (kind if known else BlindfieldError)(what, device=device, remedy=remedy)
