"""The field key: 32 secret bytes in their own file, which only its owner may read."""

from __future__ import annotations

import base64
import hashlib
import os
import re
import secrets
import stat
from pathlib import Path

from blindfield.model.errors import ConfigError
from blindfield.model.files_of_ours import open_without_waiting

KEY_BYTES = 32
_MAX_FILE_BYTES = 1024
_FINGERPRINT_LABEL = b"blindfield field key fingerprint\0"
_FINGERPRINT_BYTES = 10  # 16 characters of base32


def new_key(path: Path) -> bytes:
    """Makes a new random key, writes it to `path` as 64 hex digits, mode 0600, and gives it.

    Raises ConfigError when the file is already there (a key is never overwritten: every device
    that carries it would be lost to us) or cannot be written.
    """
    key = secrets.token_bytes(KEY_BYTES)
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError as error:
        remedy = "Use the key that is there, or move it away first and keep it."
        raise ConfigError(f"The key file {path} exists already.", remedy=remedy) from error
    except OSError as error:
        raise _cannot_write(path, error) from error
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(key.hex().encode() + b"\n")
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        path.unlink()  # half a key helps nobody, and it would be in the way of the next attempt
        raise _cannot_write(path, error) from error
    return key


def read_key(path: Path) -> bytes:
    """The 32 bytes in `path`.

    Raises ConfigError when the file is missing or unreadable, when others than its owner may
    read or write it, or when it does not hold 64 hex digits.
    """
    try:
        with open(path, "rb", opener=open_without_waiting) as file:
            status = os.fstat(file.fileno())
            text = file.read(_MAX_FILE_BYTES) if stat.S_ISREG(status.st_mode) else b""
    except FileNotFoundError as error:
        remedy = (
            "Put the field's key file there, or name its place as key = in field.toml. For a new "
            "field: `blindfield key new`."
        )
        raise ConfigError(f"There is no key file {path}.", remedy=remedy) from error
    except OSError as error:
        remedy = "Check that it is a file of yours that you may read."
        what = f"The key file {path} cannot be read: {error.strerror}."
        raise ConfigError(what, remedy=remedy) from error
    if _open_to_others(status):
        raise ConfigError(
            f"The key file {path} is open to other users of this computer.",
            remedy=f"Close it with `chmod 600 {path}`; if somebody may have read it, give the "
            "field a new key.",
        )
    if not re.fullmatch(rb"\s*[0-9a-fA-F]{64}\s*", text):
        remedy = "Put the field's own key file there: one line of 64 hex digits (0-9, a-f)."
        raise ConfigError(f"{path} does not hold a field key.", remedy=remedy)
    return bytes.fromhex(text.decode("ascii"))


def fingerprint(key: bytes) -> str:
    """A short name for a key that may be shown to anyone: ABCD-EFGH-IJKL-MNOP, 80 bits."""
    digest = hashlib.sha256(_FINGERPRINT_LABEL + key).digest()[:_FINGERPRINT_BYTES]
    letters = base64.b32encode(digest).decode("ascii")
    return "-".join(letters[at : at + 4] for at in range(0, len(letters), 4))


def _open_to_others(status: os.stat_result) -> bool:
    # Windows keeps access in lists that these mode bits do not show.
    return os.name != "nt" and bool(status.st_mode & (stat.S_IRWXG | stat.S_IRWXO))


def _cannot_write(path: Path, error: OSError) -> ConfigError:
    remedy = "Check that its folder exists, has room and is yours to write in."
    return ConfigError(f"The key file {path} cannot be written: {error.strerror}.", remedy=remedy)
