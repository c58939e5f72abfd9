"""Owners in this process and in others, and raw bytes at their port."""

from __future__ import annotations

import asyncio
import json
import socket
import subprocess
import sys
from collections.abc import Awaitable, Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from blindfield.conduct.hold import held_by
from blindfield.conduct.owner import LOOPBACK, Owner, ask_owner

HOLDER = """
import subprocess, sys
from pathlib import Path
from blindfield.conduct.hold import Hold
hold = Hold.take(Path(sys.argv[1]))
child = subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE)
print(child.pid, flush=True)
input()
hold.release()
child.communicate(b"\\n")
print("released", flush=True)
input()
"""

SERVER = """
import asyncio, os, sys
from pathlib import Path
from blindfield.conduct.owner import Owner
async def status(request):
    return {"pid": os.getpid()}
async def vanish(request):
    os._exit(9)
async def main():
    owner = Owner.acquire(Path(sys.argv[1]))
    owner.handle("status", status)
    owner.handle("vanish", vanish)
    await owner.serve()
    print("serving", flush=True)
    await asyncio.get_running_loop().run_in_executor(None, input)
    await owner.stop()
    owner.release()
asyncio.run(main())
"""


@contextmanager
def other_process(script: str, folder: Path) -> Iterator[subprocess.Popen[str]]:
    command = [sys.executable, "-W", "error", "-c", script, str(folder)]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        try:
            yield process
        finally:
            process.kill()


def told(process: subprocess.Popen[str]) -> str:
    assert process.stdout is not None
    return process.stdout.readline().strip()


def tell(process: subprocess.Popen[str]) -> None:
    assert process.stdin is not None
    process.stdin.write("\n")
    process.stdin.flush()


async def status(request: Mapping[str, Any]) -> Mapping[str, Any]:
    return {"seen": dict(request)}


def serving(folder: Path, test: Callable[[Owner], Awaitable[None]]) -> None:
    """Runs `test` while an owner of `folder` serves `status`."""

    async def body() -> None:
        with Owner.acquire(folder) as owner:
            owner.handle("status", status)
            await owner.serve()
            try:
                await test(owner)
            finally:
                await owner.stop()

    asyncio.run(body())


async def ask(folder: Path, command: str, **args: Any) -> dict[str, Any] | None:
    return await asyncio.to_thread(ask_owner, folder, command, **args)


def send_raw(folder: Path, raw: bytes) -> list[dict[str, Any]]:
    """Every reply line to `raw`, sent by somebody who then says no more."""
    note = held_by(folder)
    assert note is not None
    with socket.create_connection((LOOPBACK, note.port), 5.0) as connection:
        try:
            connection.sendall(raw)
            connection.shutdown(socket.SHUT_WR)
            with connection.makefile("rb") as file:
                return [json.loads(line) for line in file]
        except ConnectionError:
            return []  # hung up on while we were still sending


def line(folder: Path, **values: Any) -> bytes:
    note = held_by(folder)
    assert note is not None
    return json.dumps({"token": note.token, **values}).encode() + b"\n"


# --- the hold ---
