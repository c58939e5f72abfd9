"""Names of runs and of the host's loop clock: random bytes, and how people read and type them."""

from __future__ import annotations

import base64
import binascii
import os
from collections.abc import Callable, Iterable
from typing import TypeAlias

from blindfield.model.errors import LogbookError

RunId: TypeAlias = bytes

RUN_ID_BYTES = 8
RUN_ID_CHARACTERS = 13
HOST_EPOCH_BYTES = 8
_ALPHABET = frozenset("abcdefghijklmnopqrstuvwxyz234567")  # RFC 4648 section 6, lower case


def new_run_id(random: Callable[[int], bytes] = os.urandom) -> RunId:
    """8 random bytes."""
    return random(RUN_ID_BYTES)


def new_host_epoch(random: Callable[[int], bytes] = os.urandom) -> bytes:
    """8 random bytes that name this process's `loop.time()`, which starts anew with it."""
    return random(HOST_EPOCH_BYTES)


def run_id_text(run_id: RunId) -> str:
    """13 lower-case base32 characters (RFC 4648 without padding). Raises ValueError."""
    if len(run_id) != RUN_ID_BYTES:
        raise ValueError(f"a run id has {RUN_ID_BYTES} bytes, not {len(run_id)}")
    return base64.b32encode(run_id).decode().rstrip("=").lower()


def parse_run_id(text: str) -> RunId:
    """The id that `run_id_text` shows; capitals are accepted. Raises LogbookError."""
    plain = _checked(text)
    if len(plain) == RUN_ID_CHARACTERS:
        try:
            run_id = base64.b32decode(plain.upper() + "===")
        except binascii.Error:  # pragma: no cover - the alphabet and length are checked above
            run_id = b""
        # The last character carries one spare bit: only one spelling names a run.
        if run_id and run_id_text(run_id) == plain:
            return run_id
    raise LogbookError(
        f"{text!r} is not the id of a run.",
        remedy=f"A run id has {RUN_ID_CHARACTERS} letters and digits, such as "
        f"{run_id_text(bytes(range(RUN_ID_BYTES)))}.",
    )


def match_run_id(prefix: str, run_ids: Iterable[RunId]) -> RunId:
    """The one id among `run_ids` that begins with `prefix`. Raises LogbookError: none, several."""
    plain = _checked(prefix)
    if not plain:
        raise LogbookError("an empty run id names no run.", remedy="Give its first characters.")
    found = sorted({one for one in run_ids if run_id_text(one).startswith(plain)})
    if not found:
        raise LogbookError(
            f"no run begins with {prefix!r}.", remedy="List the runs to see their ids."
        )
    if len(found) > 1:
        shown = ", ".join(run_id_text(one) for one in found[:4])
        more = f" and {len(found) - 4} more" if len(found) > 4 else ""
        raise LogbookError(
            f"{len(found)} runs begin with {prefix!r}: {shown}{more}.",
            remedy="Give more characters.",
        )
    return found[0]


def _checked(text: str) -> str:
    plain = text.strip().lower()
    wrong = sorted(set(plain) - _ALPHABET)
    if wrong:
        raise LogbookError(
            f"{text!r} is not the id of a run: {', '.join(map(repr, wrong))} cannot be in one.",
            remedy="A run id holds the letters a to z and the digits 2 to 7.",
        )
    return plain
