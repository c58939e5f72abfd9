"""Keeps an open run from the searcher's eyes.

While a run is open its rows are AES-GCM blobs of a few equal sizes under keys derived from the
field key (HKDF, RFC 5869). This is no security boundary: whoever holds the field key, or watches
the program that holds it, can read them. It keeps text out of a file that someone who is about to
search might open.
"""

from __future__ import annotations

import hmac
import os
from functools import lru_cache

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

from blindfield.model.errors import LogbookError
from blindfield.model.events import DeviceKey

FIELD_KEY_BYTES = 32
NONCE_BYTES = 12
TAG_BYTES = 16
SMALLEST_CLASS_BYTES = 1024
CLASS_FACTOR = 4  # few classes, so that a size says little


def derive(field_key: bytes, *, salt: bytes, purpose: str, length: int = 32) -> bytes:
    """HKDF-SHA-256 (RFC 5869) of the field key for one purpose."""
    return HKDF(SHA256(), length, salt, b"blindfield logbook " + purpose.encode()).derive(field_key)


class Sealer:
    """Seals and opens rows under one field key. Raises ValueError for a key of another length."""

    def __init__(self, field_key: bytes) -> None:
        if len(field_key) != FIELD_KEY_BYTES:
            raise ValueError(f"a field key has {FIELD_KEY_BYTES} bytes, not {len(field_key)}")
        self.key_id = derive(field_key, salt=b"", purpose="key id", length=8)
        self._hash_key = derive(field_key, salt=b"", purpose="device key hash")
        # One key per run; the key of None seals what belongs to no run.
        self._cipher = lru_cache(maxsize=16)(
            lambda run_id: AESGCM(derive(field_key, salt=run_id or b"", purpose="rows"))
        )

    def row_hash(self, device_key: DeviceKey | None) -> bytes:
        """32 bytes that name a journal record to the key holder alone; random for other events."""
        if device_key is None:
            return os.urandom(32)
        name = device_key.device_id + b"%d,%d" % (device_key.journal_id, device_key.seq)
        return hmac.digest(self._hash_key, name, "sha256")

    def seal(self, run_id: bytes | None, row_hash: bytes, plain: bytes) -> bytes:
        """Nonce, ciphertext and tag; the length tells no more than the size class."""
        nonce = os.urandom(NONCE_BYTES)
        return nonce + self._cipher(run_id).encrypt(nonce, _pad(plain), row_hash)

    def unseal(self, run_id: bytes | None, row_hash: bytes, sealed: bytes) -> bytes:
        """Raises LogbookError: another key, or a damaged row."""
        nonce, rest = sealed[:NONCE_BYTES], sealed[NONCE_BYTES:]
        try:
            padded = self._cipher(run_id).decrypt(nonce, rest, row_hash)
        except (InvalidTag, ValueError) as error:
            raise LogbookError(
                "a row of an open run cannot be opened.",
                remedy="Use the field key the run was made with; if it is that one, the row is "
                "damaged.",
            ) from error
        return padded[4 : 4 + int.from_bytes(padded[:4], "little")]


def _pad(plain: bytes) -> bytes:
    size = SMALLEST_CLASS_BYTES
    while size < len(plain) + 4:
        size *= CLASS_FACTOR
    return (len(plain).to_bytes(4, "little") + plain).ljust(size, b"\0")
