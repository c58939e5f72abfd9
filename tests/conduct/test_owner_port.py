"""The owner's port: tokens, junk, slow and silent strangers."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blindfield.conduct import owner as owner_module
from blindfield.conduct.hold import Note, held_by
from blindfield.conduct.owner import LOOPBACK, MAX_LINE_BYTES, MAX_STRANGERS, Owner
from blindfield.model.errors import (
    LinkBusy,
)
from support.owners import (
    ask,
    line,
    send_raw,
    serving,
)


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
