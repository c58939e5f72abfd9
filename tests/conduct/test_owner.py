"""One process per field, which the others ask: with real processes, kills and sockets."""

from __future__ import annotations

import asyncio
import json
import os
import socket
import subprocess
import sys
from collections.abc import Awaitable, Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blindfield.conduct import owner as owner_module
from blindfield.conduct.hold import HOLD_FILE, Hold, Note, held_by
from blindfield.conduct.owner import LOOPBACK, MAX_LINE_BYTES, MAX_STRANGERS, Owner, ask_owner
from blindfield.model.errors import (
    BlindfieldError,
    ConfigError,
    LinkBusy,
    LinkDenied,
    NotConfirmedSilent,
    Refused,
)

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


def test_a_second_process_is_refused_by_name_and_let_in_after_release(tmp_path: Path) -> None:
    with other_process(HOLDER, tmp_path) as process:
        told(process)
        with pytest.raises(LinkBusy, match=rf"process {process.pid}, since 20\d\d-.*end it first"):
            Owner.acquire(tmp_path)
        tell(process)
        assert told(process) == "released"
        assert held_by(tmp_path) is None
        Owner.acquire(tmp_path).release()


def test_a_killed_process_leaves_nothing_locked_though_its_child_lives(tmp_path: Path) -> None:
    with other_process(HOLDER, tmp_path) as process:
        child = int(told(process))
        process.kill()
        process.wait()
        try:
            assert (tmp_path / HOLD_FILE).read_bytes() != b""
            assert held_by(tmp_path) is None
            assert ask_owner(tmp_path, "status") is None
            with Owner.acquire(tmp_path):
                note = held_by(tmp_path)
                assert note is not None
                assert note.pid == os.getpid()
        finally:
            os.kill(child, 9)


def test_one_process_cannot_hold_a_field_twice(tmp_path: Path) -> None:
    with Owner.acquire(tmp_path), pytest.raises(LinkBusy, match=f"process {os.getpid()}"):
        Owner.acquire(tmp_path)


def test_two_fields_can_be_held_side_by_side(tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
    with Owner.acquire(tmp_path / "a"), Owner.acquire(tmp_path / "b"):
        assert held_by(tmp_path / "a") is not None
        assert held_by(tmp_path / "b") is not None


def test_releasing_twice_does_not_give_away_the_next_holders_field(tmp_path: Path) -> None:
    first = Owner.acquire(tmp_path)
    first.release()
    with Owner.acquire(tmp_path):
        first.release()
        assert held_by(tmp_path) is not None


@pytest.mark.parametrize(
    "junk",
    [
        b"",
        b"\n",
        b"junk",
        b"\xff\x00",
        b"[1]\n",
        b"{}\n",
        b"[" * 900,
        b'{"pid": 1}\n',
        b'{"pid": 1, "since_utc": "never", "port": 1, "token": "a"}\n',
        b'{"pid": 1, "since_utc": "2026-01-01", "port": 99999, "token": "a"}\n',
        b'{"pid": 1, "since_utc": "2026-01-01", "port": 1, "token": "a"}\n',
    ],
)
def test_a_stale_or_damaged_file_is_nobodys_and_in_nobodys_way(tmp_path: Path, junk: bytes) -> None:
    (tmp_path / HOLD_FILE).write_bytes(junk)
    assert held_by(tmp_path) is None
    assert ask_owner(tmp_path, "status") is None
    with Owner.acquire(tmp_path):
        note = held_by(tmp_path)
        assert note is not None
        assert note.pid == os.getpid()


@pytest.mark.skipif(os.name == "nt", reason="Windows has no mode bits to check")
def test_the_file_is_its_owners_alone_even_where_it_was_open_before(tmp_path: Path) -> None:
    path = tmp_path / HOLD_FILE
    path.touch(mode=0o666)
    path.chmod(0o666)
    with Owner.acquire(tmp_path):
        assert path.stat().st_mode & 0o777 == 0o600


def test_a_folder_that_is_not_there_and_a_file_in_the_way_are_refused(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="no folder"):
        Owner.acquire(tmp_path / "absent")
    assert ask_owner(tmp_path / "absent", "status") is None
    (tmp_path / HOLD_FILE).mkdir()
    with pytest.raises(ConfigError, match="Move away"):
        Owner.acquire(tmp_path)
    assert ask_owner(tmp_path, "status") is None


def test_another_users_field_is_denied_with_what_still_silences(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def denied(*_: object) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", denied)
    with pytest.raises(LinkDenied, match=r"another user.*knock pattern"):
        Owner.acquire(tmp_path)
    with pytest.raises(LinkDenied, match=r"another user.*knock pattern"):
        ask_owner(tmp_path, "silence")


def test_a_full_disk_does_not_keep_the_field_held(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> int:
        raise OSError(28, "No space left on device")

    hold = Hold.take(tmp_path)
    with monkeypatch.context() as patch:
        patch.setattr(os, "write", full)
        hold.release()
    assert held_by(tmp_path) is None


# --- asking ---


def test_another_process_answers_while_it_lives(tmp_path: Path) -> None:
    with other_process(SERVER, tmp_path) as process:
        assert told(process) == "serving"
        assert ask_owner(tmp_path, "status") == {"ok": True, "pid": process.pid}
        with pytest.raises(LinkBusy, match=f"process {process.pid}"):
            Owner.acquire(tmp_path)
        tell(process)
        assert process.wait() == 0
        assert ask_owner(tmp_path, "status") is None


def test_an_owner_that_dies_while_asked_leaves_the_field_to_the_asker(tmp_path: Path) -> None:
    with other_process(SERVER, tmp_path) as process:
        assert told(process) == "serving"
        assert ask_owner(tmp_path, "vanish") is None
        Owner.acquire(tmp_path).release()


def test_an_owner_that_only_holds_is_busy_not_absent(tmp_path: Path) -> None:
    with Owner.acquire(tmp_path), pytest.raises(LinkBusy, match=r"does not answer.*end process"):
        ask_owner(tmp_path, "silence")


def test_handlers_get_the_arguments_but_never_the_token(tmp_path: Path) -> None:
    async def test(_: Owner) -> None:
        reply = await ask(tmp_path, "status", targets=["1", "2"], why="é")
        assert reply == {"ok": True, "seen": {"targets": ["1", "2"], "why": "é"}}

    serving(tmp_path, test)


@pytest.mark.parametrize(
    "error",
    [
        NotConfirmedSilent("may still send", device="target 3", remedy="Go there."),
        Refused("said no", code=7, device="target 1"),
        LinkBusy("held"),
        BlindfieldError("odd"),
    ],
)
def test_a_handlers_error_is_raised_at_the_asker(tmp_path: Path, error: BlindfieldError) -> None:
    async def silence(_: Mapping[str, Any]) -> Mapping[str, Any]:
        raise error

    async def test(owner: Owner) -> None:
        owner.handle("silence", silence)
        with pytest.raises(type(error)) as caught:
            await ask(tmp_path, "silence")
        assert type(caught.value) is type(error)
        assert str(caught.value) == str(error)
        assert caught.value.device == error.device
        assert getattr(caught.value, "code", None) == getattr(error, "code", None)

    serving(tmp_path, test)


@pytest.mark.parametrize("wrong", [{"x": object()}, {"x": b"bytes"}, None])
def test_a_broken_handler_harms_nobody(tmp_path: Path, wrong: Any) -> None:
    async def broken(_: Mapping[str, Any]) -> Mapping[str, Any]:
        return wrong  # type: ignore[no-any-return]

    async def test(owner: Owner) -> None:
        owner.handle("broken", broken)
        with pytest.raises(BlindfieldError, match="broken failed inside the owner"):
            await ask(tmp_path, "broken")
        assert await ask(tmp_path, "status") is not None

    serving(tmp_path, test)


def test_an_unknown_command_is_refused_with_those_there_are(tmp_path: Path) -> None:
    async def test(_: Owner) -> None:
        with pytest.raises(ConfigError, match=r"No such command.*status"):
            await ask(tmp_path, "launch")

    serving(tmp_path, test)


def test_a_slow_owner_is_given_up_in_time_and_reported(tmp_path: Path) -> None:
    async def test(owner: Owner) -> None:
        forever = asyncio.Event()

        async def slow(_: Mapping[str, Any]) -> Mapping[str, Any]:
            await forever.wait()
            return {}

        owner.handle("slow", slow)
        with pytest.raises(LinkBusy, match="does not answer"):
            await ask(tmp_path, "slow", timeout_s=0.05)
        forever.set()

    serving(tmp_path, test)


# --- strangers and junk ---


def test_a_wrong_token_is_refused_and_runs_nothing(tmp_path: Path) -> None:
    calls: list[object] = []

    async def silence(request: Mapping[str, Any]) -> Mapping[str, Any]:
        calls.append(request)
        return {}

    async def test(owner: Owner) -> None:
        owner.handle("silence", silence)
        for token in ("", "0" * 32, "é", "\ud800", None, 5, ["x"]):
            raw = line(tmp_path, command="silence", token=token)
            replies = await asyncio.to_thread(send_raw, tmp_path, raw + raw)
            assert [reply["ok"] for reply in replies] == [False]  # and hung up on at once
        assert calls == []
        assert await ask(tmp_path, "silence") == {"ok": True}
        assert len(calls) == 1

    serving(tmp_path, test)


def test_several_requests_may_follow_on_one_connection(tmp_path: Path) -> None:
    async def test(_: Owner) -> None:
        raw = b"".join(line(tmp_path, command=name) for name in ("status", "none", "status"))
        replies = await asyncio.to_thread(send_raw, tmp_path, raw)
        assert [reply["ok"] for reply in replies] == [True, False, True]

    serving(tmp_path, test)


def test_junk_and_oversized_lines_are_refused_without_harm(tmp_path: Path) -> None:
    @given(st.binary(max_size=40) | st.sampled_from([b"[" * 5000, b"x" * (3 * MAX_LINE_BYTES)]))
    @settings(max_examples=60, deadline=None)
    def try_junk(junk: bytes) -> None:
        assert not any(reply["ok"] for reply in send_raw(tmp_path, junk + b"\n"))

    async def test(_: Owner) -> None:
        await asyncio.to_thread(try_junk)
        long = line(tmp_path, command="status", pad="x" * MAX_LINE_BYTES)
        assert not any(reply["ok"] for reply in await asyncio.to_thread(send_raw, tmp_path, long))
        assert await ask(tmp_path, "status") is not None

    serving(tmp_path, test)


def test_silent_strangers_neither_block_others_nor_pile_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(owner_module, "QUIET_S", 3600.0)

    async def test(_: Owner) -> None:
        note = held_by(tmp_path)
        assert note is not None
        friend, friends_writer = await asyncio.open_connection(LOOPBACK, note.port)
        friends_writer.write(line(tmp_path, command="status"))
        assert json.loads(await friend.readline())["ok"]
        strangers = [
            await asyncio.open_connection(LOOPBACK, note.port) for _ in range(MAX_STRANGERS + 3)
        ]
        assert await ask(tmp_path, "status") is not None
        # The first that came were let go for those that came after; the last still wait.
        assert await asyncio.wait_for(strangers[0][0].read(), 10.0) == b""
        assert not strangers[-1][0].at_eof()
        # Who has shown the token is no stranger, however long ago they came.
        friends_writer.write(line(tmp_path, command="status"))
        assert json.loads(await friend.readline())["ok"]
        for _reader, writer in [*strangers, (friend, friends_writer)]:
            writer.close()

    serving(tmp_path, test)


def test_a_connection_that_falls_quiet_is_closed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(owner_module, "QUIET_S", 0.01)

    async def test(_: Owner) -> None:
        note = held_by(tmp_path)
        assert note is not None
        reader, writer = await asyncio.open_connection(LOOPBACK, note.port)
        writer.write(b'{"half')
        assert await reader.read() == b""
        writer.close()

    serving(tmp_path, test)


def test_a_slow_answer_does_not_hold_up_a_silence(tmp_path: Path) -> None:
    async def test(owner: Owner) -> None:
        asked, silenced = asyncio.Event(), asyncio.Event()

        async def slow(_: Mapping[str, Any]) -> Mapping[str, Any]:
            asked.set()
            await silenced.wait()
            return {"after": "silence"}

        async def silence(_: Mapping[str, Any]) -> Mapping[str, Any]:
            silenced.set()
            return {}

        owner.handle("slow", slow)
        owner.handle("silence", silence)
        waiting = asyncio.ensure_future(ask(tmp_path, "slow"))
        await asked.wait()
        assert await ask(tmp_path, "silence") == {"ok": True}
        assert await waiting == {"ok": True, "after": "silence"}

    serving(tmp_path, test)


def test_an_asker_that_goes_away_does_not_stop_what_it_asked_for(tmp_path: Path) -> None:
    async def test(owner: Owner) -> None:
        asked, go_on, done = asyncio.Event(), asyncio.Event(), asyncio.Event()

        async def silence(_: Mapping[str, Any]) -> Mapping[str, Any]:
            asked.set()
            await go_on.wait()
            done.set()
            return {}

        owner.handle("silence", silence)
        note = held_by(tmp_path)
        assert note is not None
        _reader, writer = await asyncio.open_connection(LOOPBACK, note.port)
        writer.write(line(tmp_path, command="silence"))
        await asked.wait()
        writer.close()
        await writer.wait_closed()
        go_on.set()
        await done.wait()

    serving(tmp_path, test)


def test_stop_lets_an_answer_under_way_finish(tmp_path: Path) -> None:
    async def test(owner: Owner) -> None:
        asked, go_on = asyncio.Event(), asyncio.Event()

        async def slow(_: Mapping[str, Any]) -> Mapping[str, Any]:
            asked.set()
            await go_on.wait()
            return {"done": True}

        owner.handle("slow", slow)
        answer = asyncio.ensure_future(ask(tmp_path, "slow"))
        await asked.wait()
        stopping = asyncio.ensure_future(owner.stop())
        await asyncio.sleep(0)
        go_on.set()
        await stopping
        assert await answer == {"ok": True, "done": True}

    serving(tmp_path, test)


def test_stop_lets_an_answer_finish_even_when_the_handler_caused_it(tmp_path: Path) -> None:
    async def test(owner: Owner) -> None:
        async def end(_: Mapping[str, Any]) -> Mapping[str, Any]:
            await owner.stop()
            return {"ended": True}

        owner.handle("end", end)
        assert await ask(tmp_path, "end") == {"ok": True, "ended": True}
        with pytest.raises(LinkBusy, match="does not answer"):
            await ask(tmp_path, "status")

    serving(tmp_path, test)


def test_the_port_listens_on_loopback_alone(tmp_path: Path) -> None:
    async def test(owner: Owner) -> None:
        assert owner._server is not None
        assert [s.getsockname()[0] for s in owner._server.sockets] == ["127.0.0.1"]

    serving(tmp_path, test)


def test_a_note_says_who_and_since_when() -> None:
    note = Note(pid=41, since_utc="2026-01-02T03:04:05+00:00")
    assert note.holder.startswith("process 41, since 2026-01-0")
