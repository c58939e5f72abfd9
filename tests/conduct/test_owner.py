"""One process per field, which the others ask: with real processes, kills and sockets."""

from __future__ import annotations

import asyncio
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from blindfield.conduct.hold import HOLD_FILE, Hold, held_by
from blindfield.conduct.owner import Owner, ask_owner
from blindfield.model.errors import (
    BlindfieldError,
    ConfigError,
    LinkBusy,
    LinkDenied,
    NotConfirmedSilent,
    Refused,
)
from support.owners import (
    HOLDER,
    SERVER,
    ask,
    other_process,
    serving,
    tell,
    told,
)


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
