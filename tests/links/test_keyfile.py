from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blindfield.links import keyfile
from blindfield.links.keyfile import fingerprint, new_key, read_key
from blindfield.model.errors import ConfigError

modes_exist = pytest.mark.skipif(os.name == "nt", reason="Windows has no mode bits to check")


def test_a_new_key_is_read_back_and_is_never_the_same(tmp_path: Path) -> None:
    keys = [new_key(tmp_path / name) for name in ("a", "b")]
    assert [read_key(tmp_path / name) for name in ("a", "b")] == keys
    assert keys[0] != keys[1]
    assert {len(key) for key in keys} == {32}


@modes_exist
def test_a_new_key_is_its_owners_alone_whatever_the_umask(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        new_key(tmp_path / "field.key")
    finally:
        os.umask(before)
    assert (tmp_path / "field.key").stat().st_mode & 0o777 == 0o600


def test_a_key_is_never_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "field.key"
    key = new_key(path)
    with pytest.raises(ConfigError, match="exists already"):
        new_key(path)
    assert read_key(path) == key


@modes_exist
def test_a_new_key_does_not_follow_a_link(tmp_path: Path) -> None:
    (tmp_path / "field.key").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(ConfigError, match="exists already"):
        new_key(tmp_path / "field.key")
    assert not (tmp_path / "elsewhere").exists()


def test_a_key_that_cannot_be_written_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(ConfigError, match=r"cannot be written: No space left.*has room"):
        new_key(tmp_path / "field.key")
    assert not (tmp_path / "field.key").exists()
    with pytest.raises(ConfigError, match="folder exists"):
        new_key(tmp_path / "absent" / "field.key")


@modes_exist
@pytest.mark.parametrize("mode", [0o640, 0o604, 0o620, 0o602, 0o610, 0o644, 0o666])
def test_a_key_open_to_others_is_refused(tmp_path: Path, mode: int) -> None:
    path = tmp_path / "field.key"
    new_key(path)
    path.chmod(mode)
    with pytest.raises(ConfigError, match=r"open to other users.*chmod 600"):
        read_key(path)


def test_windows_has_no_mode_bits_to_refuse_by(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    key = new_key(tmp_path / "field.key")
    (tmp_path / "field.key").chmod(0o644)
    # Only the check's own view of the system: pathlib reads os.name too.
    monkeypatch.setattr(keyfile, "os", _Windows(os))
    assert read_key(tmp_path / "field.key") == key


class _Windows:
    name = "nt"

    def __init__(self, real: object) -> None:
        self._real = real

    def __getattr__(self, attribute: str) -> object:
        return getattr(self._real, attribute)


@pytest.mark.parametrize(
    "text",
    [b"", b"ab" * 31, b"ab" * 33, b"zz" * 32, b"ab" * 32 + b" 1", b"\xff" * 64, b"a" * 5000],
)
def test_what_is_no_key_is_refused(tmp_path: Path, text: bytes) -> None:
    path = tmp_path / "field.key"
    path.write_bytes(text)
    path.chmod(0o600)
    with pytest.raises(ConfigError, match=r"does not hold a field key.*64 hex digits"):
        read_key(path)


@given(st.binary(min_size=32, max_size=32), st.sampled_from(["", "\n", "\r\n", "  \n\n"]))
@settings(max_examples=30, deadline=None)
def test_a_key_typed_in_by_hand_is_read(
    tmp_path_factory: pytest.TempPathFactory, key: bytes, ending: str
) -> None:
    path = tmp_path_factory.getbasetemp() / "typed.key"
    path.write_bytes((key.hex().upper() + ending).encode())
    path.chmod(0o600)
    assert read_key(path) == key


def test_a_missing_key_a_folder_and_a_pipe_are_refused(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match=r"There is no key file.*field\.toml"):
        read_key(tmp_path / "absent.key")
    with pytest.raises(ConfigError, match="cannot be read"):
        read_key(tmp_path)
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe", 0o600)
        with pytest.raises(ConfigError, match="does not hold"):
            read_key(tmp_path / "pipe")


def test_no_refusal_shows_the_key(tmp_path: Path) -> None:
    key = new_key(tmp_path / "field.key")
    (tmp_path / "field.key").write_bytes(key.hex().encode() + b"00")
    with pytest.raises(ConfigError) as caught:
        read_key(tmp_path / "field.key")
    assert key.hex()[:8] not in str(caught.value)


def test_a_fingerprint_is_short_stable_and_tells_keys_apart() -> None:
    assert re.fullmatch(r"([A-Z2-7]{4}-){3}[A-Z2-7]{4}", fingerprint(bytes(32)))
    assert fingerprint(bytes(32)) == fingerprint(bytes(32))
    assert fingerprint(bytes(32)) != fingerprint(bytes(31) + b"\x01")
